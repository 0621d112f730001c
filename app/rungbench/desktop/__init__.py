"""The windows: all that is Qt.

Threads.  The main thread draws and never waits.  The thread ``runner`` (`worker.BenchWorker`) owns
the stand-in; commands go in by queue, frozen snapshots come out by queued signals.  Whatever takes
long and needs no bench (measuring a capture, reading a file, searching records) goes to a thread
of `errands.Errands`; each view that needs one makes its own, and closes it in `close`.

How a view is added
-------------------
A view is a class made as ``MyView(room)`` with

- ``name``: what stands in the column of views, such as ``Live``;
- ``widget``: the `QWidget` that fills the window beside the column;
- ``shown()`` and ``hidden()``: it came to the front, or left it; a hidden view repaints nothing;
- ``close()``: the program ends; threads and timers of its own end here.

(`room.View` is the protocol.)  It is made when it is first looked at, so heavy imports belong in
its module, not in `window`.  It is registered by one line of `window.VIEWS`: name, key, module and
class.  A view whose module is not there is not listed.

`room.Room` is what a view gets:

- ``room.worker``: the bench.  Signals (connect with a bound method of a QObject, so that it runs
  on the main thread): ``snapshot(Snapshot)`` up to 50 times a second, ``link(LinkState)``,
  ``told(object)`` what a job tells, ``job_ended(JobEnd)``, ``refused(str)`` a sentence.
  Calls, none of which waits: ``connect_bench(url)``, ``disconnect_bench()``, ``present(setting)``,
  ``arm()``, ``open()`` (the way back; it also stops a job), ``sample(mode)``, ``start(job)``.
  A job is a `commands.Job`: a title and a function ``(standin, tell) -> result`` that has the
  stand-in to itself on the runner's thread (`qualify.runner.run` fits with a partial); what it
  tells must be frozen.  `worker.snapshot_now` and `worker.link_now` are the last ones received.
- ``room.preferences``: `preferences.Preferences`: ``get(section, key, default)`` and ``put``.
- ``room.cautions``: ``room.cautions.confirmed(then)`` calls `then` at once, or after the cautions
  were confirmed; needed before the first energising setting or job of a session.
- ``room.say(sentence)``: an error or a remark, shown in place below the view until the next one.
- ``room.alarm(text)``: the red bar over all views; it stays until somebody has noted it.
- ``room.go(name)``: bring another view to the front.
- ``room.hand(name, what)``: the same, and hand it something (`handing`: the next unit of a lot, a
  record to open); a view that takes such things has a method ``take(what)``.
- ``room.profile``: the limits that everything on the screen is judged by.
- ``room.theme``: `theme.Theme`: ``colour(name)`` of `palette`, ``scale`` in percent, and the signal
  ``changed`` after which own painting is to be done again.

Words and drawing that views share: `figures` (numbers in the user's locale), `meanings` (states,
duties, notices), `setting_words`, `verdict_mark.VerdictMark` (word and shape), `plots` (pyqtgraph
set up once: fixed axes, grid drawn once), `scale.VoltageScale`, `pictures` (SVG, PNG).

Safety.  Nothing stays energised under a window that hangs for 3 s (`runner.HANGS_S`).  Energising
needs `worker.arm()`, which only a deliberate key or button calls that no scanner can send
(Ctrl+F9).  Escape always goes back to open, whatever has the focus.
"""
