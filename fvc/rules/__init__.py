"""What law, suppliers and the house ask of a plan: findings, the ingredient declaration, what it costs."""
