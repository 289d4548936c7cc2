"""Brake weight turned into fuel and CO2, by three routes of which a study chooses one."""
