"""JSON Schemas of what is read and written, made from the models: `python -m qc.schemas.build`."""
