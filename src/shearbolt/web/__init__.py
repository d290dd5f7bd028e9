"""Pages for phone and computer: the book served from the farm's own computer, to nobody else.

`site.make_site` makes the application of one book, `serving.serve` runs it on the loopback
interface. What is shown comes from the use cases of `shearbolt.app`, as it does for the command
line; a module `view_*` turns a document into what its template needs, and does no I/O.

| module | what it does |
| --- | --- |
| `guard` | who may ask: host, origin, size of what is sent, headers of every answer |
| `looking`, `writing`, `bringing` | the pages that show, that write, and that take recordings in |
| `listening`, `live` | the page of a machine that is listened to, and the one session behind it |
| `documents` | documents kept ready until the book changes |
| `keys` | the memory of forms sent, so that none does its work twice |
| `uploads` | files that arrive, streamed to the disk |
| `look`, `phrases`, `words` | how a person wants it shown, and in which words |
| `plugs` | what is known of connectors, and where their pins lie |
"""
