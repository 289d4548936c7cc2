"""Every write, one function an act, by noun."""
