"""Jobs that are dictated twice, in the tool's own wording and as technicians talk: a pair of phrases a line.

What must come of either is what the first gives when typed. `LOOKED_AT` is what the bias of listeners was set by, in
the voices that are fitted on; by `REPORTED_ON` nothing was ever set, in the voices that are reported on.
"""

from __future__ import annotations

from dataclasses import dataclass

from journal.facts import Engine


@dataclass(frozen=True)
class SpokenJob:
    """A job in two wordings."""

    engine: Engine
    """The engine it is about."""
    said: tuple[tuple[str, str], ...]
    """Each thing said, in the tool's own wording and in natural wording."""


LOOKED_AT = {
    "quarry six": SpokenJob(
        Engine(6, (1, 5, 3, 6, 2, 4)),
        (
            ("start idle cut out", "right, running the cut-out test at idle"),
            ("baseline twenty six point four", "fuel's sitting at twenty six point four with all six in"),
            ("cylinder one cut, thirty one point nine", "killed one, went up to thirty one point nine"),
            ("cylinder two cut, thirty two point three", "number two's out, thirty two point three"),
            ("cylinder three cut, thirty one point six", "and three, thirty one six"),
            ("cylinder four cut, thirty two point zero", "thirty two flat with four off"),
            ("cylinder five no change", "five's dead, it didn't move"),
            ("cylinder six cut, thirty one point seven", "dropped number six, I get thirty one point seven"),
            ("scratch that", "no, forget that last one"),
            ("cylinder six cut, thirty one point four", "six comes up to thirty one point four"),
            ("end of run", "okay, that's the run done"),
            ("repeat the run", "let's do that once more"),
            ("baseline twenty six point five", "base is twenty six and a half"),
            ("cylinder five cut, twenty six point five", "took out five and it stays at twenty six point five"),
            ("all cylinders back in", "put them all back in"),
            ("engine speed six hundred ninety", "she's idling at six ninety rpm"),
            ("coolant eighty four", "water's at eighty four"),
            ("blow-by heavy", "lots of blow-by at the breather"),
            ("overhead sound", "valve cover's off, everything looks good up top"),
            ("wiring sound", "harness checks out fine"),
            ("lash tight, cylinder five", "lash on number five is too tight"),
            ("air test cylinder five leaks to exhaust", "put air in five and it's leaking out the exhaust"),
            ("compression cylinder five, eighteen bar", "only eighteen bar of compression on five"),
            ("photo overhead", "taking a picture of the overhead"),
            ("what have I missed", "what's still left to do"),
            ("how does it look", "so how's it looking"),
        ),
    ),
    "ferry four": SpokenJob(
        Engine(4, (1, 3, 4, 2)),
        (
            ("start idle cut out", "starting an idle cut-out on this one"),
            ("baseline fourteen", "all four firing, we're at fourteen"),
            ("one cut, nineteen", "pull one, nineteen"),
            ("two cut, fifteen", "two only goes to fifteen"),
            ("three cut, nineteen", "three's out, up to nineteen"),
            ("correction eighteen", "no wait, that was eighteen"),
            ("four cut, twenty", "shut off number four and it reads twenty"),
            ("end of run", "that run's finished"),
            ("half engine, three four out", "half engine now, three and four off"),
            ("baseline twenty seven", "baseline's twenty seven"),
            ("one cut, forty", "cutting number one takes it to forty"),
            ("two cut, twenty nine", "with two out it's twenty nine"),
            ("all cylinders back in", "everything's back on"),
            ("injection pressure twenty megapascals", "injection pressure's holding twenty megapascals"),
            ("oil temperature ninety two", "oil's at ninety two degrees"),
            ("resistance in limits, cylinder two", "resistance on two is fine"),
            ("driver signal present, cylinder two", "number two's got a driver signal"),
            ("connector faulty, cylinder two", "the plug on two is corroded"),
            ("blow-by none", "no blow-by that I can see"),
            ("white smoke", "it's smoking white"),
            ("port temperature cylinder two cold", "exhaust port on number two is cold"),
            ("leak-down twelve percent, cylinder two", "two's leaking down twelve percent"),
            ("swapped injectors two and three, miss moved", "swapped two with three and the miss moved over"),
            ("part wanted injector cylinder two", "we're gonna need an injector for number two"),
            ("read back cylinder two", "what have I got for cylinder two"),
            ("scratch cylinder four", "throw away number four"),
        ),
    ),
}
"""What was read line by line."""

REPORTED_ON = {
    "dictated six": SpokenJob(
        Engine(6, (1, 5, 3, 6, 2, 4)),
        (
            ("start idle cut out", "okay, doing the cut-out at idle now"),
            ("baseline thirty one point five", "she's at thirty one and a half with nothing cut"),
            ("cylinder one cut, thirty eight point two", "number one's off, thirty eight point two"),
            ("cylinder two cut, thirty seven point nine", "two out brings it up to thirty seven point nine"),
            ("cylinder three cut, thirty two point four", "only thirty two point four on three"),
            ("four cut, thirty eight point five", "kill four, thirty eight and a half"),
            ("five, thirty eight point one", "five's at thirty eight point one"),
            ("six, thirty seven point eight", "six cut out, reads thirty seven point eight"),
            ("end of run", "that's it for this run"),
            ("half engine, four five six out", "holding out four, five and six for the half engine"),
            ("baseline sixty one point three", "new baseline is sixty one point three"),
            ("one cut, ninety point two", "knocked out one, ninety point two"),
            ("two cut, ninety one point one", "now two, it's ninety one point one"),
            ("three cut, sixty three point five", "sixty three point five with three out"),
            ("all cylinders back in", "they're all back in"),
            ("half engine, one two three out", "half engine again, one through three out this time"),
            ("baseline sixty one point two", "baseline's at sixty one point two"),
            ("four cut, ninety point eight", "disable four, that gives ninety point eight"),
            ("five, ninety point four", "number five ninety point four"),
            ("six, ninety one point three", "with six off I have ninety one point three"),
            ("scratch that", "strike that last reading"),
            ("six, ninety one point two", "six is ninety one point two"),
            ("blow-by light, cylinder three", "little bit of blow-by on three"),
            ("overhead sound", "nothing wrong under the valve cover"),
            ("wiring sound", "wiring looks good to me"),
            ("air test cylinder three holds", "three holds air just fine"),
            ("compression cylinder three, twenty eight bar", "got twenty eight bar compression on number three"),
            ("engine speed seven hundred", "revs are at seven hundred"),
            ("photo blow-by", "here's a photo of the blow-by"),
            ("how does it look", "how's that look now"),
        ),
    ),
    "sawmill eight": SpokenJob(
        Engine(8, (1, 2, 7, 3, 4, 5, 6, 8)),
        (
            ("start idle cut out", "let's cut cylinders at idle"),
            ("baseline thirty three", "baseline fuel is thirty three"),
            ("one cut, thirty seven", "one gives me thirty seven"),
            ("two cut, thirty eight", "dropped two, thirty eight"),
            ("three cut, thirty seven", "thirty seven on number three"),
            ("four no change", "no change at all on four"),
            ("five cut, thirty eight", "five's killed, it went to thirty eight"),
            ("six cut, thirty seven", "six off, thirty seven again"),
            ("seven no change", "seven does nothing either"),
            ("eight cut, thirty nine", "and with eight out we get thirty nine"),
            ("correction thirty eight", "sorry, I meant thirty eight"),
            ("end of run", "end the run there"),
            ("wiring faulty, cylinder four", "found a chafed wire at number four"),
            ("resistance open, cylinder seven", "seven's reading open circuit on the ohm meter"),
            ("broken bridge, cylinder four", "the bridge on four is broken"),
            ("lash loose, cylinder seven", "seven has loose lash"),
            ("oil temperature eighty eight", "oil temp's eighty eight"),
            ("engine speed six hundred eighty", "engine's turning six eighty"),
            ("load fifteen percent", "we're at fifteen percent load"),
            ("fuel supply low", "supply pressure's on the low side"),
            ("air in fuel none", "no air in the fuel"),
            ("repeat the run", "run the same test again"),
            ("baseline thirty four", "we start from thirty four"),
            ("four cut, thirty eight", "four comes in at thirty eight now"),
            ("seven cut, thirty nine", "seven's good too, thirty nine"),
            ("pressure override off", "pressure override's back off"),
            ("scratch the baseline", "throw out that baseline"),
            ("what have I missed", "anything I still have to do"),
        ),
    ),
}
"""What is reported on. Its first job is the benchmark's own, `JOB`."""
