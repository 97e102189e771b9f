"""Rate, median and ratio of every reading with pandas: usage FILE OUT."""
import sys

import pandas

rows = pandas.read_csv(sys.argv[1])
rows["rate_ml_min"] = 60 * rows.volume_ml / rows.interval_s
rows["ratio_to_median"] = rows.rate_ml_min / rows.groupby("test_id").rate_ml_min.transform("median")
rows.to_csv(sys.argv[2], index=False, columns=["test_id", "cylinder", "rate_ml_min", "ratio_to_median"])
