"""A plugin that loads, recognises, and then raises while it reads and writes."""

from sample_good import MarkList

from exchange.formats.hooks import hookimpl


class BrokenMarks(MarkList):
    name = "broken"
    title = "Broken list of marks"
    suffixes = (".broken",)

    def recognise(self, head):
        return head.startswith(b"#broken")

    def read(self, file, options):
        raise ZeroDivisionError("division by zero")

    def write(self, packet, target, options):
        target.write_text("half")
        raise KeyError("colour")


@hookimpl
def exchange_formats():
    return [BrokenMarks()]
