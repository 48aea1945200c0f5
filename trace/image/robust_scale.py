"""From robust measures of spread to a standard deviation, for normal errors."""

SIGMA_PER_MAD = 1.4826  # standard deviations in a median absolute deviation: 1 / Phi^-1(3/4)
