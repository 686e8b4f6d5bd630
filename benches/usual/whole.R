# The same job as most people would script it, in R: telemetry to strip means, counts to the share that came up in time, one mixed
# model, two tables, one chart a field-season. Checks nothing, keeps no file or row behind a value, watches nothing.
#
#   Rscript benches/usual/whole.R REVIEW_FOLDER OUTPUT_FOLDER [charts]
#
# Packages: data.table, lme4 (Debian: r-cran-data.table, r-cran-lme4). Prints seconds of reading, fitting, charts.
suppressMessages({
  library(data.table)
  library(lme4)
})
args <- commandArgs(trailingOnly = TRUE)
raw <- file.path(args[1], "raw")
out <- args[2]
dir.create(out, showWarnings = FALSE, recursive = TRUE)
began <- proc.time()[["elapsed"]]
log <- fread(file.path(raw, "setting_log.csv"), select = c("field_id", "season", "strip_id", "speed_m_s", "set_pressure_kpa", "actual_pressure_kpa"))
strips <- log[speed_m_s >= 1, .(set = mean(set_pressure_kpa), actual = mean(actual_pressure_kpa), rows = .N), by = .(field_id, season, strip_id)]
rm(log)
counts <- fread(file.path(raw, "stand_count.csv"))
setorder(counts, field_id, season, strip_id, sample_id, counted_at)
# In time: up at the fourth of eight visits.
stand <- counts[, .(final = max(emerged), early = emerged[4]), by = .(field_id, season, strip_id, sample_id)]
stand <- stand[, .(share = (sum(early) + 0.5) / (sum(final) + 1)), by = .(field_id, season, strip_id)]
table <- merge(merge(strips, stand, by = c("field_id", "season", "strip_id")), fread(file.path(raw, "strip.csv")), by = c("field_id", "season", "strip_id"))
table[, x := (set - mean(set)) / (diff(range(set)) / 2)]
table[, field_season := paste(field_id, season)]
read <- proc.time()[["elapsed"]]
fit <- lmer(qlogis(share) ~ condition * (x + I(x^2)) + (1 | field_season) + (1 | field_season:block), data = table)
fwrite(as.data.table(coef(summary(fit)), keep.rownames = "term"), file.path(out, "model.csv"))
fwrite(table, file.path(out, "strips.csv"))
fitted <- proc.time()[["elapsed"]]
if (!is.na(args[3])) {
  for (one in split(table, by = "field_season")) {
    png(file.path(out, paste0(gsub("[^A-Za-z0-9]", "_", one$field_season[1]), ".png")), width = 640, height = 480)
    plot(one$set, one$share, xlab = "Set pressure, kPa", ylab = "Share up in time", main = one$field_season[1])
    lines(lowess(one$set, one$share))
    dev.off()
  }
}
ended <- proc.time()[["elapsed"]]
cat(sprintf("read %.3f\nfit %.3f\ncharts %.3f\n", read - began, fitted - read, ended - fitted))
