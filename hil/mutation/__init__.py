"""Machine-made faults in the C core, and which of them the corpus notices."""
