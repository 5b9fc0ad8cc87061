"""How far a flow can be trusted: the budget after JCGM 100:2008 (the GUM), and figures rounded to it."""
