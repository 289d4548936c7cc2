"""The invented fleet of the demo and of the recovery tests; nothing in it is real."""
