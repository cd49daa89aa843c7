"""From a description to a state machine.

`compiler` is the chain.  `naming` lists the stages that name everything, in their order: `things`, `electrics`,
`zones`, `restraint`, `motion`; they stand on `described`, `components`, `symbols` and `world`.  Then come `lowering`,
`settling`, `starting` and `requirements`.
"""
