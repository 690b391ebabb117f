"""The report as one page for a browser: words, tables and pictures, with nothing to fetch.

The timelines are drawn by three small scripts of our own (`curves.js`, `panels.js`, `timelines.js` in `templates/`), as
SVG with the style of the still pictures. Plotting libraries were compared with that: their scripts take from 50 kB
(uPlot, by PyPI only in an unmaintained package) to 1.3 MB (Bokeh) and 4.8 MB (Plotly) of each page, and draw on a
canvas that knows nothing of the page's colours, light or print. What a reader does here is little: read values at a
second, zoom, pan, go to a finding, by hand, by key and on glass. That is 20 kB, needs no dependency, keeps the page's
policy of running no script but those whose digests it names, and leaves a page that prints and reads without script.
"""
