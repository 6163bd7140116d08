"""How long eyes stay attached: estimators for follow-up times, in NumPy alone.

One estimator a file; each takes plain sequences and gives a frozen result with its numbers at risk.
Conventions, the same in every file:

- times are whole days since the clock started (fractions are accepted; months are for display only);
- an eye whose follow-up ends on a day is still at risk for an event found on that day;
- an eye entering late is at risk on (entry, exit]; entry 0 means from the start, day 0 included;
- S is right-continuous: S(t) is the value after the drop at t; the number at risk at t stands just before it;
- quantiles are the middle of the flat part where the curve rests exactly on the level asked for;
- two eyes of one patient are correlated: give `cluster`, and standard errors are summed by patient;
- what cannot be estimated is NOT_ESTIMABLE or NOT_REACHED, never 0 and never a bare nan on a page.

There is no proportional hazards regression here. Eyes come in pairs and times are tied, so it would need a
standard error by patient with Efron's ties, and no light, maintained library reproduces it: on the paired
laser trial R has 0.147461, statsmodels 0.147424 (residuals of another tie method), lifelines 0.147411 with a
coefficient off in the sixth digit. Groups are compared by log-rank test, restricted means and differences at
a stated time.
"""
