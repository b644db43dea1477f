"""What is true of a design: findings, each a value with a code, a severity, a place and a witness."""
