"""The record in a database: `tables` declares it, `engine` opens it, `work` is the writer (with `press_work`, `people` and
`ledgers`), `reader` answers questions (with `supply_reader`).

Only `engine` knows which database it is; everything else is plain SQLAlchemy.
"""
