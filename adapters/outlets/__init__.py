"""One file per way out: each carries a letter to where it leads, and answers what became of it.

None of them knows the record, or when a letter is tried again.
"""
