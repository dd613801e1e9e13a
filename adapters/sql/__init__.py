"""The record in a database: `tables` declares it, `engine` opens it, `work` is the writer, `reader` answers questions.

Only `engine` knows which database it is; everything else is plain SQLAlchemy.
"""
