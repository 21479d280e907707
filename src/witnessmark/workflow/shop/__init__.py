"""The shop over its cases: the ledger, what it has learnt, its packs."""
