"""Things with fields: frozen types and read-only tables, nothing else."""
