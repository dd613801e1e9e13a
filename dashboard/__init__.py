"""What a person sees: pages made on the server, drawn from what the Reader answers. Knows no SQL and no MQTT.

A page goes pages.py (route) → doorstep.py, supply_sheet.py or ledgers.py (facts to a frozen context, contexts.py)
→ templates/. Drawings are made by across.py (wires across a wide sheet), down.py (wires down a narrow one) and rail_chart.py,
out of the primitives in svg.py and marks.py; words.py makes the sentences.
"""
