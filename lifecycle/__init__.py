"""The arithmetic of brake wear: records in, forecasts and cost out; no database, clock, file or network."""
