"""What a stub means: the criterion applied, nets ranked, stub-length budgets."""
