// The statistics of matching trials, exact: no approximation, because trials are few.
"use strict";

{
  const klangprobe = (globalThis.klangprobe ??= {});

  const logFactorial = (n) => {
    let sum = 0;
    for (let k = 2; k <= n; k += 1) sum += Math.log(k);
    return sum;
  };

  const point = (k, n, p) => {
    if (p <= 0) return k === 0 ? 1 : 0;
    if (p >= 1) return k === n ? 1 : 0;
    const ways = logFactorial(n) - logFactorial(k) - logFactorial(n - k);
    return Math.exp(ways + k * Math.log(p) + (n - k) * Math.log(1 - p));
  };

  /** Probability of at least *right* of *of* where each is right with probability *p*. */
  const atLeast = (right, of, p = 0.5) => {
    let sum = 0;
    for (let k = right; k <= of; k += 1) sum += point(k, of, p);
    return Math.min(1, sum);
  };

  /** Where a falling or rising function of p crosses a level, by halving. */
  const solve = (rising, level) => {
    let [low, high] = [0, 1];
    for (let step = 0; step < 60; step += 1) {
      const middle = (low + high) / 2;
      if (rising(middle) < level) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  };

  /** Exact 95 % interval for the share of right answers (Clopper and Pearson 1934). */
  const interval = (right, of, miss = 0.05) => [
    right === 0 ? 0 : solve((p) => atLeast(right, of, p), miss / 2),
    right === of ? 1 : solve((p) => atLeast(right + 1, of, p), 1 - miss / 2),
  ];

  /** Fewest right answers that chance alone gives less often than *miss*; more than *of* where none does. */
  const needed = (of, miss = 0.05) => {
    let right = 0;
    while (right <= of && atLeast(right, of) > miss) right += 1;
    return right;
  };

  /** Chance to show a difference to a listener who is right with probability *p*. */
  const power = (of, p = 0.75, miss = 0.05) => atLeast(needed(of, miss), of, p);

  klangprobe.odds = { atLeast, interval, needed, power };
}
