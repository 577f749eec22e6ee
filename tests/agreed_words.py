"""Words that English shares with another language, each looked at: what is typed and read by
programs, words that both have, and terms that solvers of the language say in English (common
practice, no source).
"""

from __future__ import annotations


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


AGREED = {
    "all": _words(
        " address all block book check clean cluster column comm csv debug digitise distributed"
        " drill entry file given heic host html https jpeg jpg jsonl label lang left"
        " letter line log mark notes out page papernudge pdf photo png practice review row"
        " sheet shelf source svg tcp text tls txt uint utf webp wing xyz"
    ),
    "de": _words(
        " block bytes code codes computer dask enter export extra form hand install json"
        " min minute name option original pdfs pem pip pipe port private rest scanner"
        " scheduler shell socket still sudoku tiff tiffs turbot version was worker"
    ),
    "es": _words(
        "diagonal error"
        " bytes control ctrl dask extra fish flash install json min original pem pip shell"
        " socket sudoku tiff turbot variable"
    ),
    "fr": _words(
        "cages quota  code codes configuration contradiction copies correction corrections ctrl"
        " dask date document exact export flash install installation jellyfish json long"
        " machine message min minute minutes option options original pages pem photos pip"
        " pivot pixels place places port position positions rectangle scanner shell socket"
        " solution solutions sources standard sudoku swordfish tables technique tiff"
        " turbot unique usage variable version"
    ),
    "it": _words(
        "extra quota  come computer core ctrl dask fish flash input jellyfish json min password pem"
        " pipe remote scanner scheduler shell socket standard sudoku swordfish tiff turbot"
    ),
    "ja": _words(" ctrl enter height install pip width"),
    "nl": _words(
        "letters  begin bytes camera code codes computer ctrl curve dask document enter export"
        " extra filters had hand hint install json min net object open pem pip pipe pixels"
        " rest scan scanner scheduler shell single socket start stop sudoku tiff was week"
        " worker workers"
    ),
    "pl": _words(
        " ctrl dask enter folder height install json min pem pip port program same sudoku"
        " tiff turbot width"
    ),
    "pt": _words(
        "diagonal extra"
        " bytes compare ctrl dask enter flash for install jellyfish json megapixels min"
        " original pdfs pem pip pipe pixels scanner shell socket sudoku swordfish tiff"
        " tiffs turbot use"
    ),
}
"""By language what may stand in its sentences as in the English ones; ``all``: in each."""
HOMOGRAPHS = {
    "de": _words("was so in an"),
    "es": _words("no on has"),
    "fr": _words("on as or"),
    "it": _words("no in come all"),
    "ja": _words(""),
    "nl": _words("is of was had in"),
    "pl": _words("by to do ten on most"),
    "pt": _words("as no do for"),
}
"""Small words of English that are words of the language too."""
