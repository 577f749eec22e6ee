"""Why a photo, a page of a file or a grid can't be read, in English, by code."""

from __future__ import annotations

from papernudge.hints.catalogue import Words, english_plural

SAID = {
    # ------------------------------------------------------------ files
    "file is empty": "{called} is empty: expected a photo file, got 0 bytes.",
    "file is a folder": "{called} is a folder: expected one photo file; name a file in it.",
    "no such file": "There is no file {called}: check the name and the folder.",
    "no such file any more": "There is no file {called} any more.",
    "file can't be read": "{called} can't be read ({why}): check its permissions.",
    "source can't be read": "{called} can't be read ({why}): expected a photo, a PDF or a TIFF;"
    " check its permissions.",
    "source can't be opened": "{called} can't be read ({why}).",
    "the name is not valid": "the name is not valid",
    "not a photo": "{called} is not a photo that can be opened: expected JPEG, PNG, HEIC, WebP or"
    " TIFF.",
    "photo is damaged": "{called} is damaged: it starts like a photo but can't be decoded; try the"
    " original file.",
    "photo is cut off": "{called} is cut off: the file ends before the picture does; copy it again"
    " in full.",
    "photo takes too much memory": "{called} needs more memory than there is: expected a photo as a"
    " phone takes it.",
    "file takes too much memory": "{called} needs more memory than a file may take.",
    "photo is too long": "{called} is longer than {most} MB: expected a photo as a phone takes it.",
    "photo says too many pixels": "{called} says it holds far more pixels than a photo: expected a"
    " photo as a phone takes it.",
    "photo is too big": "{called} says it is {width} × {height} pixels, more than the {most}"
    " megapixels and {side} a side that are read: expected a photo as a phone takes it.",
    "photo is a PDF": "{called} is a PDF: expected a photo; save the page as a picture.",
    "file opens too slowly": "{called} takes more than {seconds:g} s of work to open: expected a"
    " file as a camera or a scanner writes it; save it anew.",
    "file ends its program": "{called} is damaged: it ends the program that opens it, within"
    " {memory} MB; try the original file.",
    "too many pages": "{called} says it has {pages:,} pages in {size:,} bytes: expected no more"
    " than {most:,}, each of {least} bytes or more; split it or save it anew.",
    "page is damaged": "Page {page} of {called} is damaged and can't be decoded; scan it again.",
    "page is too big": "Page {page} of {called} is {width} × {height} pixels, more than can be"
    " read: scan it with fewer.",
    "PDF is locked": "{called} is locked with a password: save a copy without one and name that.",
    "PDF is damaged": "{called} is damaged: it starts like a PDF but can't be opened; try the"
    " original.",
    # ------------------------------------------------------------ what a system says of files
    "system, ENOENT": "no such file or directory",
    "system, EACCES": "permission denied",
    "system, EPERM": "operation not permitted",
    "system, ENOTDIR": "not a directory",
    "system, EISDIR": "is a directory",
    "system, ENOSPC": "no space left on device",
    "system, EROFS": "read-only file system",
    "system, EIO": "input/output error",
    "system, ENAMETOOLONG": "file name too long",
    "system, EEXIST": "file exists",
    "system, EBUSY": "device or resource busy",
    "system, EMFILE": "too many open files",
    "system, ELOOP": "too many levels of symbolic links",
    "system, EADDRINUSE": "address already in use",
    "system, EADDRNOTAVAIL": "cannot assign requested address",
    "system, EDQUOT": "disk quota exceeded",
    # ------------------------------------------------------------ photos
    "no grid found": "No grid was found in the photo; lay the page flat, get the whole grid"
    " into the frame and try again.",
    "no grid found, called": "{called}: no grid was found in the photo; lay the page flat, get"
    " the whole grid into the frame and try again.",
    "no grid made out": "No grid could be made out. {advice}",
    "no grid made out, called": "{called}: no grid could be made out. {advice}",
    "no grid in so few pixels": "No grid is found in so few pixels; scan it larger.",
    "no lattice": "No 9×9 lattice of lines was found there.",
    "advice, blurred": "The photo is too blurred; hold the phone still, let it focus, and take it"
    " again.",
    "advice, dark": "The photo is too dark; take it again with more light.",
    "advice, noisy": "The photo is too noisy; take it again with more light.",
    "advice, compressed": "The photo is too strongly compressed; use the camera's original, or one"
    " saved at a better quality.",
    "advice, shadow": "A hard shadow falls across the grid; turn the page or step aside until the"
    " light on it is even, and take it again.",
    "advice, crossed": "Creases, folds or lines run across the grid; smooth the page flat and take"
    " it again.",
    "advice, covered": "Something covers part of the grid; take it away and take the photo again.",
    "advice, washed out": "Light is reflected from the grid and washes part of it out; tilt the"
    " page or the phone, or turn the flash off, and take the photo again.",
    "advice, too dark": "Part of the grid lies in the dark; take the photo again in even light.",
    "advice, cut off": "The photo cuts part of the grid off; get the whole grid into the frame.",
    "advice, unclear": "Too many cells can't be told from this photo; lay the page flat in even"
    " light, go nearer, and take it again.",
    # ------------------------------------------------------------ saved readings
    "saved too long": "This grid's evidence takes {size} bytes where at most {most} are allowed.",
    "saved by none": "This is no reading that papernudge saved: read the photo again.",
    "saved by another version": "This reading was saved by another version (form {form}, reader"
    " {reader}; here form {here}, reader {ours}): read the photo again.",
    "saved and damaged": "This saved reading is damaged: read the photo again.",
    # ------------------------------------------------------------ grids
    "lines are faint": "The lines hardly stand out from the paper; take the photo with more light.",
    "grid is blurred": "The grid is blurred; hold the phone still and let it focus, or go a bit"
    " nearer.",
    "cells are small": "Each cell is only {cell:.0f} pixels wide where {least:.0f} are the least;"
    " hold the phone nearer to the grid.",
    "many grids": "More than {read} grids are on this photo; take fewer of them, from nearer.",
    "edge is cut off, left": "The left edge of the grid is cut off: get the whole grid into the"
    " frame.",
    "edge is cut off, right": "The right edge of the grid is cut off: get the whole grid into the"
    " frame.",
    "edge is cut off, top": "The top edge of the grid is cut off: get the whole grid into the"
    " frame.",
    "edge is cut off, bottom": "The bottom edge of the grid is cut off: get the whole grid into the"
    " frame.",
    # ------------------------------------------------------------ marks of other kinds of puzzles
    "marks, cage": "Cages with sums are printed in it: it is a puzzle of another kind.",
    "marks, arrow": "Arrows are printed in it: it is a puzzle of another kind.",
    "marks, dot": "Dots are printed between its cells: it is a puzzle of another kind.",
    "marks, sign": "Signs are printed between its cells: it is a puzzle of another kind.",
    "marks, else": "Marks of other rules are printed in it: it is a puzzle of another kind.",
    "marks, unclear": "Its tints or diagonals can't be told for sure; take it again from straight"
    " above, in even light.",
}
"""Every sentence by its code."""

ENGLISH = Words("en", SAID, english_plural)
"""The room's own language; another's catalogue tells the same messages."""
