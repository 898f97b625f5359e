# Golden values for EstimatePrior and Shrink, from the reference
# implementation of Smyth 2004: limma (Debian r-bioc-limma 3.54.1, R 4.2.2).
# Run: Rscript shrink.R > shrink.csv
suppressMessages(library(limma))
cases <- list(
  # Twelve athletes, 7 df each, variances of unequal athletes.
  unequal = list(var = c(0.31, 4.9, 1.2, 2.2, 0.85, 1.7, 9.8, 0.52, 3.1, 1.4, 0.66, 2.7), df = rep(7, 12)),
  # The same with the degrees of freedom that ragged histories give.
  ragged = list(var = c(0.31, 4.9, 1.2, 2.2, 0.85, 1.7, 9.8, 0.52, 3.1, 1.4, 0.66, 2.7),
                df = c(7, 3, 7, 4, 7, 2, 7, 7, 5, 3, 7, 6)),
  # Athletes alike: the estimate is infinite.
  alike = list(var = c(1.40, 1.52, 1.61, 1.38, 1.55, 1.47), df = rep(7, 6)),
  # One athlete with no spread at all.
  still = list(var = c(0, 1.2, 2.0, 0.9, 1.6), df = rep(4, 5))
)
cat("case,var,df,prior_var,prior_df,post_var\n")
for (n in names(cases)) {
  v <- cases[[n]]$var; d <- cases[[n]]$df
  s <- squeezeVar(v, d)
  for (i in seq_along(v))
    cat(sprintf("%s,%.17g,%g,%.12g,%.12g,%.12g\n", n, v[i], d[i], s$var.prior, s$df.prior, s$var.post[i]))
}
