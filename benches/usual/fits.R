# The models of the timer (benches/src/inputs.rs) in R, on data of the same layout and spreads: three blocks of eight strips a field, four conditions.
#
#   Rscript benches/usual/fits.R FIELDS...          # 10 100 1000: about ten minutes
#
# Packages: lme4, lmerTest, pbkrtest (Debian: r-cran-lme4, r-cran-lmertest, r-cran-pbkrtest). Writes case,strips,software,seconds: the median of
# three runs, or one run where it takes more than ten seconds.
suppressMessages({
  library(lme4)
  library(lmerTest)
  library(pbkrtest)
})
drawn <- function(fields) {
  set.seed(1)
  strip <- seq_len(fields * 24) - 1
  field <- strip %/% 24
  block <- strip %/% 8
  x <- 2 * (strip %% 8) / 7 - 1
  condition <- (field + block %% 2) %% 4
  level <- rnorm(fields)
  within <- rnorm(fields * 3)
  y <- 1 + 0.2 * condition + 0.5 * x - 0.7 * x^2 + 0.8 * level[field + 1] + 0.3 * within[block + 1] + rnorm(length(strip), sd = 0.5)
  trials <- sample(20:39, length(strip), replace = TRUE)
  logit <- 1 + 0.2 * condition + 0.5 * x - 0.7 * x^2 + 0.6 * level[field + 1] + 0.3 * within[block + 1] + rnorm(length(strip), sd = 0.4)
  data.frame(y, x, condition = factor(condition), field = factor(field), block = factor(block), strip = factor(strip), trials,
             up = rbinom(length(strip), trials, plogis(logit)))
}
seconds <- function(work) {
  note <- ""
  warned <- function(w) {
    note <<- "convergence warning"
    invokeRestart("muffleWarning")
  }
  timed <- function() system.time(withCallingHandlers(work(), warning = warned))[["elapsed"]]
  first <- timed()
  list(seconds = if (first > 10) first else median(c(first, replicate(2, timed()))), note = note)
}
cat("case,strips,software,seconds\n")
for (fields in as.integer(commandArgs(trailingOnly = TRUE))) {
  data <- drawn(fields)
  formula <- y ~ condition * (x + I(x^2)) + (1 | field) + (1 | block)
  plain <- lme4::lmer(formula, data)
  tested <- lmerTest::lmer(formula, data)
  two <- min(2, parallel::detectCores())
  boot <- function(...) lme4::bootMer(plain, function(fit) c(fixef(fit), getME(fit, "theta")), nsim = 200, seed = 1, ...)
  cases <- list(
    c("fit", "lme4 lmer"), c("satterthwaite", "lmerTest summary"), c("kenward_roger", "pbkrtest summary"),
    c("refits", "lme4 bootMer on 1 core"), c("refits", "lme4 bootMer on 2 cores"), c("binomial", "lme4 glmer")
  )
  work <- list(
    function() lme4::lmer(formula, data),
    function() summary(lmerTest::lmer(formula, data)),
    function() summary(tested, ddf = "Kenward-Roger"),
    function() boot(),
    function() boot(parallel = "multicore", ncpus = two),
    function() glmer(cbind(up, trials - up) ~ condition * (x + I(x^2)) + (1 | field) + (1 | block) + (1 | strip), data, family = binomial)
  )
  for (number in seq_along(cases)) {
    told <- seconds(work[[number]])
    software <- paste0(cases[[number]][2], if (told$note != "") paste0(" (", told$note, ")") else "")
    cat(sprintf("%s,%d,%s,%.4f\n", cases[[number]][1], fields * 24L, software, told$seconds))
    flush(stdout())
  }
}
