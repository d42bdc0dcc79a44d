"""`python3 demo`: makes the environment where it is missing, then runs the demo job from its sound to its page."""

import sys

import bootstrap

try:
    python = bootstrap.ensure(["speech"])
except bootstrap.CannotStart as error:
    sys.exit(str(error))
except KeyboardInterrupt:
    sys.exit("Stopped; start again and it begins where a whole one can be made.")
sys.exit(bootstrap.run(python, ["-m", "journal", "demo", *sys.argv[1:]]))
