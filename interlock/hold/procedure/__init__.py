"""Written procedures: what they may say, and what their actions are in a compiled hold."""
