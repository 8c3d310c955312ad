"""The rehearsal room: takes with known truth, made from nothing, for demo, tests and benches alike.

Seeds below 10 000 are for tuning, seeds from 900 000 on for evaluation only; nothing is ever tuned on the latter.
"""
