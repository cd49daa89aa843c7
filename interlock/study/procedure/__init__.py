"""Is a written procedure right, and what do slips in it lead to?  Read `audit`, the whole of it, first.

`graph` is what people may do, `slips` what they may do wrong, `interleavings` follows both through everything that the
equipment can do meanwhile.  On that: `slip_audit`, `interruptions` with `rescue`, `failing`; `recount` counts again.
`together` pairs slips and failures, `beyond` follows what two of them lead to, very many places at once, `mattering`
says where a second failure need strike.
`guilty` says what to look at first: an action with a mend that does (`mending`), a goal that can never be, or how the
hold is left (`leavings`).
`holders` says what keeps each requirement; `runs` and `standstill` put what was found into words.
"""
