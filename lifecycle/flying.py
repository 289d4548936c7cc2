"""Flying learned from the log: each aircraft's level, the fleet's season, and how far past forecasts were off."""
