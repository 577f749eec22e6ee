"""What ``--help`` says in English around the help of the commands' own words, and of words that
are off.
"""

from __future__ import annotations

SAID = {
    "help, usage": "Usage:",
    "help, words": "Words",
    "help, options": "Options",
    "help, commands": "Commands",
    "help, unsaid": "{default} if unsaid",
    "help, range": "{low} to {high}",
    "help, at least": "{low} or more",
    "help, with aside": "{help} ({aside})",
    "help, asides": "{first}; {next}",
    "help, default place": "Where no {name} is named, it is the one that {variable} names (an"
    ' environment variable), or the line {name} = "FILE" in {settings}.',
    "help, language": "Speak this language: {languages}. Else the one that LC_ALL or LANG names."
    " JSON and tables for programs stay in English.",
    # ------------------------------------------------------------ words that are off
    "no such language": "--language is one of {languages}; got {got}.",
    "language is": "--language is followed by one of {languages}.",
    "no such option": "There is no option {option}: {helped} names those that there are.",
    "no such option, meant": "There is no option {option}: did you mean {meant}?",
    "option takes none": "{option} takes no word of its own: {helped} says what it does.",
    "option takes": "{option} takes {takes}: {helped} says what it does.",
    "option takes, range": "{option} takes {takes} ({range}): {helped} says what it does.",
    "no such command": "There is no such command: papernudge --help names those that there are.",
    "words too many": "There are more words than this command takes: {helped} shows which.",
}
"""Every sentence by its code."""
