// The time line: a picture of the clip, what was heard in it, and a player that follows a tap.
// All words come in as data and are set as text, never as markup.

const clock = (s) => {
  const tenths = Math.round(Math.max(s, 0) * 10);
  return `${Math.floor(tenths / 600)}:${String(Math.floor(tenths / 10) % 60).padStart(2, "0")}.${tenths % 10}`;
};

const make = (tag, className, text) => {
  const node = document.createElement(tag);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  return node;
};

const PLAY = "M7 4l13 8-13 8z";
const PAUSE = "M6 4h4v16H6zM14 4h4v16h-4z";

export default function (component) {
  const { data, parentElement, setTriggerValue, setStateValue } = component;
  const root = parentElement.querySelector(".player");
  const find = (selector) => root.querySelector(selector);
  root.classList.toggle("dark", isDark(root));
  const own = root.bench || (root.bench = { edits: { ...data.edits }, loop: false, slow: false, raised: false, span: null, open: null });
  own.trigger = setTriggerValue;
  own.send = (edits) => setStateValue("edits", edits);
  own.data = data;
  if (own.key === data.key) return;
  const length = Math.max(data.duration_s, 0.001);
  const audio = find("audio.clip");
  const other = find("audio.other");
  const film = find("video.film");
  const percent = (s) => `${(100 * Math.min(Math.max(s / length, 0), 1)).toFixed(3)}%`;

  if (own.audio !== data.audio_url) {
    audio.pause();
    other.pause();
    load(data.audio_url);
    own.audio = data.audio_url;
    own.raised = false;
    own.span = null;
    film.hidden = true;
    if (data.film_url) film.src = data.film_url;
    else film.removeAttribute("src");
  }
  own.key = data.key;
  find(".play").disabled = !data.audio_url;
  tell(data.audio_url ? "" : data.no_audio);

  // Long clips scroll sideways; short ones fill the width.
  find(".sheet").style.width = `${Math.min(Math.max(length * 5, 0), 12000)}px`;
  for (const property of ["maskImage", "webkitMaskImage"]) find(".ink").style[property] = `url("${data.picture_url}")`;
  drawStates();
  drawTicks();
  redraw();
  drawModes();

  const picture = find(".picture");
  picture.setAttribute("aria-valuemax", length.toFixed(1));
  find(".play").onclick = () => (audio.paused ? play() : audio.pause());
  find(".mark").onclick = () => own.trigger("mark", Math.round(audio.currentTime * 10) / 10);
  find(".add").onclick = () => {
    addHere(own, audio.currentTime, length);
    redraw();
  };
  picture.onclick = (event) => {
    const box = picture.getBoundingClientRect();
    own.span = null;
    seek(((event.clientX - box.left) / box.width) * length, true);
  };
  picture.onkeydown = (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -5, PageUp: 5 }[event.key];
    if (step) seek(audio.currentTime + step, false);
    else if (event.key === "Home") seek(0, false);
    else if (event.key === "End") seek(length, false);
    else if (event.key === " " || event.key === "Enter") find(".play").click();
    else return;
    event.preventDefault();
  };
  audio.onplay = () => { other.pause(); icon(PAUSE, "Pause"); filmFollows(true); requestAnimationFrame(follow); };
  audio.onpause = () => { icon(PLAY, "Play"); filmFollows(false); };
  audio.onseeked = show;
  audio.onended = () => { if (own.loop) seek(loopSpan()[0], true); };
  film.onloadedmetadata = () => { film.hidden = !film.videoWidth; filmFollows(false); };
  film.onerror = () => { film.hidden = true; };
  show();
  return () => { audio.pause(); other.pause(); };

  function load(url) {
    if (url) audio.src = url;
    else audio.removeAttribute("src");
  }
  function tell(text) {
    find(".note").hidden = !text;
    find(".note").textContent = text || "";
  }
  function play() {
    if (!data.audio_url) return;
    audio.playbackRate = own.slow ? 0.5 : 1;
    audio.play().catch(() => icon(PLAY, "Play"));
  }
  function seek(at_s, andPlay) {
    audio.currentTime = Math.min(Math.max(at_s, 0), length);
    show();
    filmFollows(false);
    if (andPlay) play();
  }
  function choose(entry) {
    own.span = [Math.max(entry.start_s - 0.3, 0), Math.min(Math.max(entry.end_s, entry.start_s + 0.4) + 0.3, length)];
    seek(own.span[0], true);
    drawLoop();
  }
  function loopSpan() {
    return own.span || [0, length];
  }
  function filmFollows(andPlay) {
    if (film.hidden) return;
    film.currentTime = audio.currentTime;
    film.playbackRate = own.slow ? 0.5 : 1;
    if (andPlay) film.play().catch(() => {});
    else if (audio.paused) film.pause();
  }
  function follow() {
    const [start, end] = loopSpan();
    if (own.loop && audio.currentTime >= end) seek(start, true);
    show();
    if (!audio.paused) requestAnimationFrame(follow);
  }
  function show() {
    const now = audio.currentTime || 0;
    find(".cursor").style.left = percent(now);
    find(".time").textContent = `${clock(now)} of ${clock(length)}`;
    picture().setAttribute("aria-valuenow", now.toFixed(1));
    picture().setAttribute("aria-valuetext", `${clock(now)} of ${clock(length)}`);
    for (const row of root.querySelectorAll(".row[data-start]")) {
      row.classList.toggle("on", now >= row.dataset.start - 0.05 && now <= Math.max(row.dataset.end, +row.dataset.start + 0.3));
    }
    function picture() { return find(".picture"); }
  }
  function icon(path, label) {
    find(".play .icon").setAttribute("d", path);
    find(".play").setAttribute("aria-label", label);
  }
  function place(node, start, end) {
    node.style.left = percent(start);
    if (end !== undefined) node.style.width = `calc(${percent(end)} - ${percent(start)})`;
    return node;
  }
  function press(selector, key, then) {
    const button = find(selector);
    button.setAttribute("aria-pressed", String(own[key]));
    button.onclick = () => {
      own[key] = !own[key];
      button.setAttribute("aria-pressed", String(own[key]));
      then();
    };
  }
  function drawModes() {
    press(".loop", "loop", drawLoop);
    press(".slow", "slow", () => { audio.playbackRate = own.slow ? 0.5 : 1; });
    press(".raise", "raised", () => {
      const at = audio.currentTime, playing = !audio.paused;
      load(own.raised ? data.raised_url : data.audio_url);
      audio.onloadedmetadata = () => { audio.onloadedmetadata = null; seek(at, playing); };
      tell(own.raised ? data.raised_words : "");
    });
    find(".raise").hidden = !data.raised_url;
    const unusual = find(".unusual");
    unusual.hidden = !data.unusual || !data.audio_url;
    unusual.onclick = () => choose(data.unusual);
    const good = find(".good");
    good.hidden = !data.good;
    if (data.good) {
      good.textContent = data.good.words;
      if (!other.src.endsWith(data.good.url)) other.src = data.good.url;
      good.onclick = () => {
        audio.pause();
        if (!other.paused) return other.pause();
        other.currentTime = data.good.at_s;
        other.play().catch(() => {});
        tell(data.good.more);
      };
    }
    for (const selector of [".loop", ".slow", ".add"]) find(selector).hidden = !data.audio_url;
    drawLoop();
  }
  function drawLoop() {
    const shown = own.loop && own.span;
    find(".looped").hidden = !shown;
    if (shown) place(find(".looped"), own.span[0], own.span[1]);
  }
  function drawStates() {
    find(".states").replaceChildren(
      ...data.states.map((state) => {
        const node = place(make("div", `state ${state.source}`, state.words), state.start_s, state.end_s);
        node.title = state.words;
        return node;
      })
    );
    find(".states").hidden = data.states.length === 0;
  }
  function drawTicks() {
    find(".ticks").replaceChildren(
      ...data.ticks.map((tick) => {
        const node = make("span", "", tick.words);
        node.style.top = `${100 * tick.from_top}%`;
        return node;
      })
    );
    const axis = data.axis_s.map((at, i) => {
      const node = make("span", i === 0 ? "first" : at > 0.97 * length ? "last" : "", clock(at).replace(/\.\d$/, ""));
      return place(node, at);
    });
    find(".axis").replaceChildren(...axis);
  }
  function redraw(list = true) {
    drawLanes();
    if (list) drawList();
  }
  function drawLanes() {
    const added = addedRows(own);
    const extra = added.length ? [{ words: "added by you", shape: "other", spots: added }] : [];
    find(".lanes").replaceChildren(
      ...[...data.lanes, ...extra].map((lane) => {
        const node = make("div", "lane");
        node.append(make("span", "word", lane.words));
        for (const spot of lane.spots) {
          const edit = corrected(own, spot);
          const at = edit || spot;
          const state = `${spot.flagged ? " flagged" : ""}${spot.missing ? " missing" : ""}${edit && !edit.present ? " gone" : ""}`;
          const button = make("button", `spot ${lane.shape}${state}`);
          button.type = "button";
          button.tabIndex = -1; // the list below is the way for the keyboard
          button.setAttribute("aria-hidden", "true");
          button.title = `${lane.words} ${clock(at.start_s)}`;
          place(button, at.start_s, lane.shape === "knock" && !spot.missing ? undefined : at.end_s);
          button.onclick = () => choose(at);
          node.append(button);
        }
        return node;
      })
    );
  }
  function drawList() {
    const rows = [...data.rows, ...addedRows(own)].map(drawRow);
    if (rows.length === 0) rows.push(make("li", "empty", "Nothing that the ear can name."));
    find(".list").replaceChildren(...rows);
    if (!own.all) find(".list").classList.add("short");
    const all = find(".all");
    all.hidden = own.all || data.rows.every((entry) => entry.lead);
    all.textContent = `Show all ${data.rows.length}`;
    all.onclick = () => {
      own.all = true;
      find(".list").classList.remove("short");
      all.hidden = true;
      root.querySelector("li.late .row").focus();
    };
  }
  function drawRow(entry) {
    const edit = corrected(own, entry);
    const at = edit || entry;
    const item = make("li", entry.lead ? "" : "late");
    const row = make(entry.missing ? "div" : "button", `row${entry.missing ? " missing" : ""}${edit && !edit.present ? " gone" : ""}`);
    const named = edit && data.sounds.find((sound) => sound.sound === edit.sound);
    const words = make("span", "words");
    const name = make("span", "name", named ? named.words : entry.words);
    if (entry.flagged) words.append(make("span", "flag", "! "));
    words.append(name, make("span", "more", edit && !edit.present ? "not this, you say" : edit && !entry.added ? "corrected by you" : entry.more));
    if (entry.room) words.append(make("span", "more", entry.room));
    row.append(make("span", `glyph ${entry.missing ? "missing" : named ? named.shape : entry.shape}`), make("span", "when", edit ? clock(at.start_s) : entry.when), words);
    if (!entry.missing) {
      row.type = "button";
      row.dataset.start = at.start_s;
      row.dataset.end = at.end_s;
      row.onclick = () => choose(at);
    }
    item.append(row);
    if (!entry.missing && data.audio_url) {
      const pencil = make("button", "pencil", "Correct");
      pencil.type = "button";
      pencil.setAttribute("aria-label", `Correct: ${named ? named.words : entry.words} at ${clock(at.start_s)}`);
      pencil.setAttribute("aria-expanded", String(own.open === entry.id));
      pencil.onclick = () => { own.open = own.open === entry.id ? null : entry.id; redraw(); };
      item.append(pencil);
      if (own.open === entry.id) item.append(editor(own, entry, () => audio.currentTime, length, redraw));
    }
    return item;
  }
}

function isDark(root) {
  const parts = getComputedStyle(root).color.match(/[\d.]+/g);
  // Light words mean a dark page.
  return Boolean(parts) && 0.3 * parts[0] + 0.59 * parts[1] + 0.11 * parts[2] > 140;
}
