# Fits HR(t) = rest + fall * exp(-t / tau) by nonlinear least squares to each
# series of recovery.csv and prints the estimates with their standard errors.
# The golden values in decay.golden.csv are this script's output:
#   Rscript decay.R recovery.csv > decay.golden.csv
args <- commandArgs(trailingOnly = TRUE)
d <- read.csv(args[1])
cat("series,rest,fall,tau,tau_se,sigma\n")
for (s in unique(d$series)) {
  x <- d[d$series == s, ]
  fit <- nls(hr ~ rest + fall * exp(-t / tau), data = x,
             start = list(rest = min(x$hr), fall = max(x$hr) - min(x$hr), tau = 50),
             control = nls.control(tol = 1e-6, minFactor = 1e-9, maxiter = 200))
  k <- coef(summary(fit))
  cat(sprintf("%s,%.9f,%.9f,%.9f,%.9f,%.9f\n", s, k["rest", 1], k["fall", 1],
              k["tau", 1], k["tau", 2], summary(fit)$sigma))
}
