"""The benches: Tapoff beside general libraries, on takes with known truth, in one run each."""
