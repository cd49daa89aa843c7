"""The questions that people ask of a hold; values in, values out.

`verify` is the main one: does every requirement hold?  `sessions` keeps its limits, `proof_cores` says what its proofs
rest on.  `walk` works a hold by hand, `procedure` audits what is written, `checklist` writes what can be audited.
"""
