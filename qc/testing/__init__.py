"""The public kit for people who write checks: signals and faults by code, deliveries, case files, a driver.

`cases` runs case files, one YAML file a case. Beneath it, for tests in plain Python: `signals`, `faults` and `music`
give samples, `deliveries` sends and judges them, `findings` asserts on the report, `drive` lets one need hear samples.
"""
