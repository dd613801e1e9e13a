"""Evidence to named findings with their on-site checks. Plain computation; its rooms are built with the findings."""
