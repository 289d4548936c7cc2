"""Files of records: read, checked whole, loaded all or nothing."""
