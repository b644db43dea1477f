"""How good the tests are: small faults put into the code one at a time, and which of them some test finds."""
