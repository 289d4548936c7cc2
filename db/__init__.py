"""The ledger: facts appended in commit order, and every query and every write on them."""
