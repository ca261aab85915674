"""A cook in open formats, and back: CSV, SensML, Parquet, and a whole cook in one file."""
