"""The alarm state table, rules and performance figures. Plain computation; its rooms are built with the alarms."""
