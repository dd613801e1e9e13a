"""What a person sees: pages made on the server, drawn from what the Reader answers. Knows no SQL and no MQTT.

A page goes pages.py (routes) → house.py (the record of some days, asked once) → doorstep.py, supply_sheet.py or ledgers.py (facts
to a frozen context of contexts.py) → templates/. lanes.py, marks.py and entries.py turn a day into marks with their words;
across.py draws them across a wide sheet, down.py down a narrow one, placing.py finds room; rail_chart.py draws the supply. svg.py
and ink.py hold the primitives, words.py the sentences (answers.py those of who rang meanwhile, blind_words.py those of blind
time), absences.py finds the stretch that is asked about, callers_sheet.py puts hours.py, cadence_list.py and away_list.py
together, sheets.py what every answer has, assets.py the files that pages ask for.
"""
