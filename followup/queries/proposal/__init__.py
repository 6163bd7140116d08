"""Which free place is proposed to whom: the wants, the solver, and the page's lines."""
