"""What is true without a network, a database or a browser.

The walk of a message: adapters/mqtt.py takes it from the socket and hands it to the `keeper`, whose `intake.receive` keeps the
bytes (adapters/sql/work.py) before the broker gets its acknowledgement. Then, in the same thread, `intake` lets `pack` decode
it (`senml` inside) and `understanding` adds it to the record: `walltime` for when, `presses` for what. The `hub` passes the
events on to adapters/live.py; pages and the API ask the `ports.Reader`.
"""
