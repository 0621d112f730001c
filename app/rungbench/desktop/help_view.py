"""Help: pages of the package in a browser of their own, with search, back and forward."""

from typing import Any, Final

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, QUrl
from PySide6.QtGui import (
    QFont,
    QKeySequence,
    QShortcut,
    QTextBlock,
    QTextCursor,
    QTextDocument,
    QTextTable,
)
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.handing import Explain
from rungbench.desktop.help_pages import (
    ABOUT,
    LICENCE,
    START,
    TITLES,
    Place,
    exists,
    page_text,
    search,
    slug,
    topic,
)
from rungbench.desktop.room import Room
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.theme import Theme

_PICTURE: Final = "picture"
_MARGIN: Final = 18
_SECTION: Final = "help"
_WANTED: Final = "page"
_ROLE: Final = Qt.ItemDataRole.UserRole
_PICTURE_LINK: Final = f"({_PICTURE}:"
_LIST_WIDTH: Final = 225
_LIST_SHARE: Final = 0.3  # of the page, at most
_TEXT_WIDTH: Final = 820


class Browser(QTextBrowser):
    """One page; its pictures are drawn by the program, and nothing is fetched from anywhere."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.setOpenLinks(False)
        self.setOpenExternalLinks(False)
        self.setAccessibleName("Page")

    def loadResource(self, kind: int, name: QUrl | str) -> Any:
        """A picture by its name; anything else is not loaded."""
        url = name if isinstance(name, QUrl) else QUrl(name)
        if kind == QTextDocument.ResourceType.ImageResource.value and url.scheme() == _PICTURE:
            # Late: pictures compute edges, which takes scipy.
            from rungbench.desktop.help_pictures import picture

            return picture(url.path(), self._theme, self.room_px())
        return None

    def room_px(self) -> float:
        """Width for a picture, with the scroll bar that a long page will have."""
        bar = self.verticalScrollBar()
        beside = 0 if bar.isVisible() else bar.sizeHint().width()
        return self.viewport().width() - beside - 2 * self._theme.px(_MARGIN) - self._theme.px(4)

    def show_page(self, text: str) -> None:
        """Show Markdown in the theme's colours and size."""
        document = self.document()
        document.setDefaultFont(self._theme.font())
        document.setDocumentMargin(self._theme.px(_MARGIN))
        self.setMarkdown(text)
        self._dress(document)
        self.moveCursor(QTextCursor.MoveOperation.Start)

    def _dress(self, document: QTextDocument) -> None:
        """Air between paragraphs; tables without lines."""
        block = document.begin()
        while block.isValid():
            self._dress_block(block)
            block = block.next()
        for frame in document.rootFrame().childFrames():
            if isinstance(frame, QTextTable):
                form = frame.format()
                form.setBorder(0.0)
                form.setCellPadding(self._theme.px(3))
                form.setCellSpacing(0.0)
                frame.setFormat(form)
                self._dress_head(frame)

    def _dress_head(self, table: QTextTable) -> None:
        for column in range(table.columns()):
            cell = table.cellAt(0, column)
            form = cell.format()
            form.setBackground(self._theme.colour("band"))
            cell.setFormat(form)

    def _dress_block(self, block: QTextBlock) -> None:
        cursor = QTextCursor(block)
        form = block.blockFormat()
        level = form.headingLevel()
        in_table = cursor.currentTable() is not None
        form.setTopMargin(self._theme.px(14 if level else 2 if in_table else 5))
        form.setBottomMargin(self._theme.px(2 if in_table else 5))
        form.setNonBreakableLines(False)  # long lines of licences wrap
        cursor.setBlockFormat(form)
        if level:
            cursor.select(QTextCursor.SelectionType.BlockUnderCursor)
            letters = cursor.charFormat()
            letters.setFont(self._theme.font(1.7 if level == 1 else 1.25, bold=True))
            letters.setFontWeight(QFont.Weight.Bold)
            cursor.mergeCharFormat(letters)

    def go_to_heading(self, heading: str) -> bool:
        """Scroll to a heading by its slug; whether it is there."""
        block = self.document().begin()
        while block.isValid():
            if block.blockFormat().headingLevel() and slug(block.text()) == heading:
                self.setTextCursor(QTextCursor(block))
                bar = self.verticalScrollBar()
                top = self.document().documentLayout().blockBoundingRect(block).top()
                bar.setValue(round(top) - self._theme.px(8))
                return True
            block = block.next()
        return False


def _reading() -> QLabel:
    """What was read, above the page that explains it; hidden without."""
    label = QLabel("")
    label.setObjectName("sentence")
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setAccessibleName("Reading that is explained")
    label.hide()
    return label


class HelpView(QObject):
    """The view: contents and search on the left, the page on the right."""

    name = "Help"

    def __init__(self, room: Room) -> None:
        super().__init__()
        self._room = room
        self._history: list[Place] = []
        self._at = -1
        self._fitted = 0.0
        self._build()
        room.theme.changed.connect(self._again)

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        return self._page

    @property
    def place(self) -> Place:
        """What is shown."""
        return self._history[self._at] if self._history else Place(START)

    # Widgets ----------------------------------------------------------------------------------

    def _build(self) -> None:
        theme = self._room.theme
        self._page = QWidget()
        self._page.setObjectName("page")
        self.seek = QLineEdit()
        self.seek.setPlaceholderText("Search (Ctrl+F)")
        self.seek.setAccessibleName("Search in all pages")
        self.seek.setClearButtonEnabled(True)
        self.seek.textChanged.connect(self._sought)
        self.seek.returnPressed.connect(self._take_found)
        self.contents = QListWidget()
        self.contents.setAccessibleName("Pages")
        self.contents.setWordWrap(True)
        self.contents.itemActivated.connect(lambda item: self.go_to(item.data(_ROLE)))
        self.contents.itemClicked.connect(lambda item: self.go_to(item.data(_ROLE)))
        self.found = QLabel("")
        self.found.setObjectName("link")
        self.back = QPushButton("← Back")
        self.back.setToolTip("Alt+Left")
        self.back.clicked.connect(lambda: self._step(-1))
        self.forward = QPushButton("Forward →")
        self.forward.setToolTip("Alt+Right")
        self.forward.clicked.connect(lambda: self._step(1))
        self.browser = Browser(theme)
        self.browser.anchorClicked.connect(lambda url: self.go_to(url.toString()))
        self.reading = _reading()
        steps = FlowLayout(theme.px(6))
        steps.addWidget(self.back)
        steps.addWidget(self.forward)
        left = QVBoxLayout()
        left.addLayout(steps)
        left.addWidget(self.seek)
        left.addWidget(self.found)
        left.addWidget(self.contents, 1)
        self._left = QWidget()
        self._left.setLayout(left)
        row = QHBoxLayout(self._page)
        row.setContentsMargins(0, 0, 0, 0)
        right = QVBoxLayout()
        right.addWidget(self.reading)
        right.addWidget(self.browser, 1)
        row.addWidget(self._left)
        row.addLayout(right, 100)
        row.addStretch(1)
        self._list_pages()
        self._resize()
        self._page.installEventFilter(self)
        for keys, act in (
            ("Alt+Left", lambda: self._step(-1)),
            ("Alt+Right", lambda: self._step(1)),
            ("Ctrl+F", self.seek.setFocus),
        ):
            shortcut = QShortcut(QKeySequence(keys), self._page)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(act)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """The list gives way where there is little width, and pictures are drawn anew for it."""
        if event.type() == QEvent.Type.Resize:
            self._resize()
            QTimer.singleShot(0, self._fit_pictures)
        return super().eventFilter(watched, event)

    def _fit_pictures(self) -> None:
        if not self._history or self._fitted == self.browser.room_px():
            return
        text = page_text(self.place.page)
        if _PICTURE_LINK in text:
            at = self.browser.verticalScrollBar().value()
            self._fitted = self.browser.room_px()
            self.browser.show_page(text)
            self.browser.verticalScrollBar().setValue(at)

    def _resize(self) -> None:
        share = round(_LIST_SHARE * self._page.width())
        self._left.setFixedWidth(min(self._room.theme.px(_LIST_WIDTH), share))
        for part in (self.browser, self.reading):
            part.setMaximumWidth(self._room.theme.px(_TEXT_WIDTH))

    # As a view --------------------------------------------------------------------------------

    def shown(self) -> None:
        """Show what was asked for, or what was shown last."""
        wanted = self._room.preferences.get(_SECTION, _WANTED, START)
        if not self._history or str(self.place) != wanted:
            self.go_to(wanted)
        self.browser.setFocus()

    def hidden(self) -> None:
        """Nothing goes on here."""

    def close(self) -> None:
        """The program ends."""

    def take(self, what: object) -> None:
        """Another view asks for an explanation."""
        if isinstance(what, Explain):
            self.go_to(str(topic(what.name)))
            self.reading.setText(what.reading)
            self.reading.setVisible(bool(what.reading))

    # Pages ------------------------------------------------------------------------------------

    def go_to(self, target: str) -> None:
        """Show a place such as ``readings#why-8-98-v``; one that is not there is said."""
        self.reading.hide()
        place = Place.of(target)
        if not place.page:
            place = Place(self.place.page, place.heading)
        if not exists(place):
            self._room.say(f"The help has no page {target}; see the list on the left.")
            place = Place(START)
        del self._history[self._at + 1 :]
        if not self._history or self._history[-1] != place:
            self._history.append(place)
        self._at = len(self._history) - 1
        self._show()

    def _step(self, by: int) -> None:
        if 0 <= self._at + by < len(self._history):
            self._at += by
            self._show()

    def _show(self) -> None:
        place = self.place
        self._fitted = self.browser.room_px()
        self.browser.show_page(page_text(place.page))
        title = TITLES.get(place.page, f"Licence of {place.page.removeprefix(LICENCE)}")
        self.browser.setAccessibleName(title)
        self.back.setEnabled(self._at > 0)
        self.forward.setEnabled(self._at + 1 < len(self._history))
        self._room.preferences.put(_SECTION, _WANTED, str(place))
        if not self.seek.text():
            self._mark(ABOUT if place.page.startswith(LICENCE) else place.page)
        if place.heading:
            # Once the page has its final width.
            self.browser.go_to_heading(place.heading)
            QTimer.singleShot(0, self._to_heading)

    def _to_heading(self) -> None:
        if self.place.heading:
            self.browser.go_to_heading(self.place.heading)

    def _again(self) -> None:
        self._resize()
        if self._history:
            self._show()

    # The list ---------------------------------------------------------------------------------

    def _list_pages(self) -> None:
        self.contents.clear()
        for page, title in TITLES.items():
            self._add(title, page)
        self.found.setText("Pages")

    def _add(self, title: str, target: str) -> None:
        item = QListWidgetItem(title)
        item.setData(_ROLE, target)
        self.contents.addItem(item)

    def _mark(self, page: str) -> None:
        for row in range(self.contents.count()):
            if self.contents.item(row).data(_ROLE) == page:
                self.contents.setCurrentRow(row)

    def _sought(self, words: str) -> None:
        if not words.strip():
            self._list_pages()
            self._mark(self.place.page)
            return
        hits = search(words)
        self.contents.clear()
        for hit in hits:
            self._add(hit.title, str(hit.place))
        number = len(hits)
        self.found.setText(f"{number} place{'' if number == 1 else 's'}" if hits else "Nothing")
        if hits:
            self.contents.setCurrentRow(0)

    def _take_found(self) -> None:
        item = self.contents.currentItem()
        if item is not None:
            self.go_to(item.data(_ROLE))
            self.browser.setFocus()
