"""What talks to the outside on the service's behalf: brokers, HTTP, databases. Nothing here decides what a press is."""
