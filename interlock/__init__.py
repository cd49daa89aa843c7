"""Verifier for the interlocks and latch states of a powered aircraft cargo hold."""

__version__ = "0.1.0"
