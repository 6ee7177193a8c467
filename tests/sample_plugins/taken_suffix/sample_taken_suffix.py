"""A plugin that claims a suffix that another format has."""

from sample_good import MarkList

from exchange.formats.hooks import hookimpl


class OtherMarks(MarkList):
    name = "other-marks"
    title = "Other list of marks"
    suffixes = (".other", ".marks")


@hookimpl
def exchange_formats():
    return [OtherMarks()]
