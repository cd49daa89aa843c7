"""Invariants that are guessed and then proved.

`sampling` walks, `candidates` are facts that never met on the walks, `likeness` carries them to like places, `mined`
keeps those that are inductive together and strengthens them; `lemmas` passes them on to another engine.  `k_induction`
guesses nothing: the requirement itself.
"""
