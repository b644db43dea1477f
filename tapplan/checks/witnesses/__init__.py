"""What shows a finding: small frozen types by family, each with every number and name that its sentence tells.

`every` joins them; a check imports only its own family, so that it starts without the others.
"""
