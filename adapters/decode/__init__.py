"""Pure decoders: bytes to values, tables from the standards."""
