"""What the copper does: for any set of closed contacts, the turn potential of every point, exactly."""
