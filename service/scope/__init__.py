"""What an oscilloscope drew at one point of the circuit: read, measured, named, and laid beside what the fit-out sheet predicts.

A file goes capture_file.py (which of the two) → columns.py with number_words.py (text) or sound.py (WAV) → measuring.py → naming.py →
expected.py and comparing.py; told.py puts the answer together. Plain computation over bytes and numbers: no record, no page.
"""
