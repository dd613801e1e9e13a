"""The simulated house: an invented circuit, its chime and its callers, for the demo, for tests, and for trying an automation.

A witness from outside: it writes its packs with an encoder of its own and shares no computation with the service.
The walk: `callers` come, `contacts` close, `circuit` answers, `chime` senses and packs, `link` (live) or `history` (past) delivers.
"""
