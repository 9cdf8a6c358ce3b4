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
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".player");
  const find = (selector) => root.querySelector(selector);
  root.classList.toggle("dark", isDark(root));
  const drawn = root.bench || (root.bench = {});
  drawn.trigger = setTriggerValue;
  if (drawn.key === data.key) return;
  const length = Math.max(data.duration_s, 0.001);
  const audio = find("audio");
  const percent = (s) => `${(100 * Math.min(Math.max(s / length, 0), 1)).toFixed(3)}%`;

  if (drawn.audio !== data.audio_url) {
    audio.pause();
    if (data.audio_url) audio.src = data.audio_url;
    else audio.removeAttribute("src");
    drawn.audio = data.audio_url;
  }
  drawn.key = data.key;
  find(".play").disabled = !data.audio_url;
  find(".note").hidden = Boolean(data.audio_url);
  find(".note").textContent = data.audio_url ? "" : data.no_audio;

  // Long clips scroll sideways; short ones fill the width.
  find(".sheet").style.width = `${Math.min(Math.max(length * 5, 0), 12000)}px`;
  for (const property of ["maskImage", "webkitMaskImage"]) find(".ink").style[property] = `url("${data.picture_url}")`;
  drawStates();
  drawTicks();
  drawLanes();
  drawList();

  const picture = find(".picture");
  picture.setAttribute("aria-valuemax", length.toFixed(1));
  find(".play").onclick = () => (audio.paused ? play() : audio.pause());
  find(".mark").onclick = () => drawn.trigger("mark", Math.round(audio.currentTime * 10) / 10);
  picture.onclick = (event) => {
    const box = picture.getBoundingClientRect();
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
  audio.onplay = () => { icon(PAUSE, "Pause"); requestAnimationFrame(follow); };
  audio.onpause = () => icon(PLAY, "Play");
  audio.onseeked = show;
  show();

  function play() {
    if (data.audio_url) audio.play().catch(() => icon(PLAY, "Play"));
  }
  function seek(at_s, andPlay) {
    audio.currentTime = Math.min(Math.max(at_s, 0), length);
    show();
    if (andPlay) play();
  }
  function follow() {
    show();
    if (!audio.paused) requestAnimationFrame(follow);
  }
  function show() {
    const now = audio.currentTime || 0;
    find(".cursor").style.left = percent(now);
    find(".time").textContent = `${clock(now)} of ${clock(length)}`;
    picture.setAttribute("aria-valuenow", now.toFixed(1));
    picture.setAttribute("aria-valuetext", `${clock(now)} of ${clock(length)}`);
    for (const row of root.querySelectorAll(".row[data-start]")) {
      row.classList.toggle("on", now >= row.dataset.start - 0.05 && now <= Math.max(row.dataset.end, +row.dataset.start + 0.3));
    }
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
  function drawLanes() {
    find(".lanes").replaceChildren(
      ...data.lanes.map((lane) => {
        const node = make("div", "lane");
        node.append(make("span", "word", lane.words));
        for (const spot of lane.spots) {
          const button = make("button", `spot ${lane.shape}${spot.flagged ? " flagged" : ""}${spot.missing ? " missing" : ""}`);
          button.type = "button";
          button.tabIndex = -1; // the list below is the way for the keyboard
          button.setAttribute("aria-hidden", "true");
          button.title = `${lane.words} ${clock(spot.start_s)}`;
          place(button, spot.start_s, lane.shape === "knock" && !spot.missing ? undefined : spot.end_s);
          button.onclick = () => seek(spot.start_s - 0.3, true);
          node.append(button);
        }
        return node;
      })
    );
  }
  function drawList() {
    const rows = data.rows.map((entry) => {
      const item = make("li", entry.lead ? "" : "late");
      const row = make(entry.missing ? "div" : "button", `row${entry.missing ? " missing" : ""}`);
      const words = make("span", "", entry.words);
      if (entry.flagged) words.prepend(make("span", "flag", "! "));
      words.append(make("span", "more", entry.more));
      row.append(make("span", `glyph ${entry.missing ? "missing" : entry.shape}`), make("span", "when", entry.when), words);
      if (!entry.missing) {
        row.type = "button";
        row.dataset.start = entry.start_s;
        row.dataset.end = entry.end_s;
        row.onclick = () => seek(entry.start_s - 0.3, true);
      }
      item.append(row);
      return item;
    });
    if (rows.length === 0) rows.push(make("li", "empty", "Nothing that the ear can name."));
    find(".list").replaceChildren(...rows);
    find(".list").classList.add("short");
    const all = find(".all");
    all.hidden = data.rows.every((entry) => entry.lead);
    all.textContent = `Show all ${data.rows.length}`;
    all.onclick = () => {
      find(".list").classList.remove("short");
      all.hidden = true;
      root.querySelector("li.late .row").focus();
    };
  }
  return () => audio.pause();
}

function isDark(root) {
  const parts = getComputedStyle(root).color.match(/[\d.]+/g);
  // Light words mean a dark page.
  return Boolean(parts) && 0.3 * parts[0] + 0.59 * parts[1] + 0.11 * parts[2] > 140;
}
