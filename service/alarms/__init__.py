"""Alarms by rule, after ISA-18.2-2016 and IEC 62682. Plain computation: times and facts are passed in, transitions are passed out.

From facts to a transition: `facts.py` (what is known of a chime) and `rules.py` (what is watched; as JSON: `rule_form.py`) meet in
`conditions.py`; `conditioning.py` puts deadband and delays between; `life.py` is the table and `alarm.py` takes one alarm through it;
`standing.py` walks all of them on, live or over history. `ready.py` makes the rules of a new house, `trial.py` tries one on history,
`performance.py` tells how well they do beside the published `figures.py`, `proposal.py` what would do better.
"""
