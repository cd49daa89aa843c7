"""What a change did: two holds side by side.

Read `matching` (which things are the same), `pairing` (both as one machine, and what to ask of it), `behaviour` (the
asking), `tracing` (which changes a difference comes from), then `compare`.
"""
