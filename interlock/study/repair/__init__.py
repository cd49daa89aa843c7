"""What would mend a hold: the smallest changes to its wiring after which every requirement holds.

Read `places` (where a contact could be put, and which), `unfused` (what runs become with one there), `tables` (which of
them stop every run that must not be and keep those that must), `proving` (what is proved of one), `additions` and
`others` (the sorts of change that are tried), then `repair`.
"""
