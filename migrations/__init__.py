"""Every change of the schema, in order."""
