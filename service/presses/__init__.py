"""Pulses to presses (`pulses`), presses to visits (`visits`). Plain computation on numbers: no clock, no store."""
