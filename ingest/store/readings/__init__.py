"""Readings in the store: fresh, settled, summarised, and read back.

In reading order:

series           which readings belong together
scales           what turns a series' numbers into our unit, from a time on
fresh            appending readings as they come
undated          readings whose times are estimates, and their dating
block            a day of one series packed into bytes
settling         fresh readings become blocks
summary          minutes, hours and days of one series
summaries        the stored summaries, kept up to date
retention        dropping what the owner no longer keeps
bulk_import      readings of the past, straight into blocks
scaling          many numbers at once through their scales
wrong_future     readings of a time that has not come yet, and going back from there
newest_fresh     the newest fresh readings, found among the last rows
series_history   one series read back
earlier          what series read about a time ago
history_sources  which readings and results make up a history
merge            readings and results of one history in order of time
downsampling     one history as summaries, for charts
"""
