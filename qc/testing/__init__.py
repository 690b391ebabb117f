"""The public test kit for authors of checks: synthetic signals and faults, deliveries, case files, a driver.

`cases` runs case files, one YAML file a case. For tests in plain Python, `signals`, `faults` and `music` make samples,
`deliveries` writes and judges deliveries, `findings` asserts on the report, and `drive` runs one need on samples.
"""
