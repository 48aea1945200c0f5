"""Hand readings and their errors, uncertainty budgets, nominal sizes."""
