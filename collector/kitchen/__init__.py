"""One record for many pits: a PostgreSQL server that each collector brings its own store to."""
