"""The description language: reader, kinds of thing, compiler to the state machine, and the way back to trade words."""
