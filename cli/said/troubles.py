"""What goes wrong with files, words of the command and whole runs, in English."""

from __future__ import annotations

SAID = {
    # ------------------------------------------------------------ of ours
    "fault of ours": "This is a fault of papernudge, not yours ({what}); with PAPERNUDGE_DEBUG=1 it"
    " tells more.",
    "answer can't be written": "The answer can't be written out ({why}): make room for it.",
    "it is closed": "it is closed",
    "not enough memory": "There is not enough memory for this: try a smaller photo.",
    "not understood": "{what}: papernudge --help lists what can be said.",
    # ------------------------------------------------------------ files
    "of a photo": "{called}: {said}",
    "standard input": "standard input",
    "photo can't be read": "{called} can't be read ({why}): name a photo file.",
    "pipe can't be read": "{called} can't be read ({why}): send it to standard input and name -.",
    "it is a folder": "it is a folder",
    "it is a pipe": "it is a pipe, not a file",
    "it is a device": "it is a device, not a file",
    "it is a socket": "it is a socket, not a file",
    "it is no file": "it is no file",
    "it is a device or a pipe": "it is a device or a pipe, not a file",
    "it may only be read": "it may only be read",
    "it is longer": "it is longer than {most:,} MB",
    "nothing comes from it": "nothing comes from it",
    "it grows": "it grows while it is read",
    "can't be written": "{path} can't be written ({why}): choose a folder that exists and may be"
    " written to.",
    "is there already": "{path} is there already: choose another name, or add --force to write over"
    " it.",
    "would write over": "{output} would write over {other}: choose another name.",
    "belongs to": "what belongs to {what}",
    "on standard input": "{what} on standard input",
    "printed into": "the file that the answer is printed into",
    "no current folder": "The current folder is no longer there: change into another one.",
    # ------------------------------------------------------------ settings
    "settings can't be read": "{path} can't be read ({why}): mend it, or take it away.",
    "settings can't be followed": "{path} can't be followed ({why}): expected lines as"
    ' book = "~/shelf.book" and log = "~/practice.log".',
    "it is not UTF-8": "it is not UTF-8",
    "it says": "it says {what}",
    "it names no file": "{name} is no file named from the root or from ~",
}
