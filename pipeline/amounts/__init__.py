"""Numbers with units, and days, as a person types or says them: "over 40 cm", "under 3 months corrected", "in a week".

Works on tokens; the words and the units come as data (vocab/cues/numbers.yaml, units.yaml, vocab/search.yaml). A month
counts 365.25 / 12 days, as in the WHO day tables; added to a date it is a month of the calendar.
"""

from pipeline.amounts.days import Calendar, Days, later
from pipeline.amounts.numbers import Amount, Numbers
from pipeline.amounts.words import TIME_DAYS, TIME_NAMES, AmountWords, Token, tokens_of

__all__ = [
    "TIME_DAYS",
    "TIME_NAMES",
    "Amount",
    "AmountWords",
    "Calendar",
    "Days",
    "Numbers",
    "Token",
    "later",
    "tokens_of",
]
