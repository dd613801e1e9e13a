"""The supply: what a chime's rail samples say. Plain computation: numpy, no clock, no store, no settings."""
