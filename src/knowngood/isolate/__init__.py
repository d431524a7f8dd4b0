"""Which fault, and which step next: hypotheses, belief, prices and the planner."""
