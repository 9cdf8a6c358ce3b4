// Corrections of what was heard: not this, another sound, other times, a sound that was missed.
// `own.edits` maps an event's id (or "new-1" …) to {sound, start_s, end_s, present, added}.

const STEP_S = 0.1;
const tenth = (s) => Math.round(s * 10) / 10;

function corrected(own, entry) {
  return own.edits[entry.id];
}

function change(own, id, base, fields) {
  own.edits[id] = { ...base, ...own.edits[id], ...fields };
  own.send({ ...own.edits });
}

function takeBack(own, id) {
  delete own.edits[id];
  own.send({ ...own.edits });
}

function editor(own, entry, here, length, redraw) {
  // Draws the small form under a row.
  const base = { sound: entry.sound, start_s: tenth(entry.start_s), end_s: tenth(entry.end_s), present: true, added: Boolean(entry.added) };
  const now = () => ({ ...base, ...own.edits[entry.id] });
  const box = make("div", "editor");
  box.setAttribute("role", "group");
  box.setAttribute("aria-label", `Correct ${entry.words}`);

  const label = make("label", "field", "It is");
  const select = document.createElement("select");
  for (const sound of own.data.sounds) {
    const option = make("option", "", sound.words);
    option.value = sound.sound;
    option.selected = sound.sound === now().sound;
    select.append(option);
  }
  select.onchange = () => { change(own, entry.id, base, { sound: select.value, present: true }); redraw(); };
  label.append(select);
  box.append(label);

  for (const [key, word] of [["start_s", "From"], ["end_s", "To"]]) {
    const line = make("div", "field");
    const value = make("span", "value", clock(now()[key]));
    const move = (to) => {
      const limits = key === "start_s" ? [0, now().end_s] : [now().start_s, length];
      change(own, entry.id, base, { [key]: tenth(Math.min(Math.max(to, limits[0]), limits[1])) });
      value.textContent = clock(now()[key]);
      redraw(false);
    };
    line.append(make("span", "", word), small("−", `${word}: a tenth earlier`, () => move(now()[key] - STEP_S)), value,
      small("+", `${word}: a tenth later`, () => move(now()[key] + STEP_S)), small("here", `${word}: where the player stands`, () => move(here())));
    box.append(line);
  }
  const last = make("div", "field");
  if (entry.added) last.append(small("Remove", "Remove this sound", () => { own.open = null; takeBack(own, entry.id); redraw(); }));
  else {
    last.append(small(now().present ? "Not this" : "It is there", "", () => { change(own, entry.id, base, { present: !now().present }); redraw(); }));
    if (own.edits[entry.id]) last.append(small("Take back", "Take the correction back", () => { takeBack(own, entry.id); redraw(); }));
  }
  last.append(small("Done", "", () => { own.open = null; redraw(); }));
  box.append(last);
  return box;
}

function small(text, label, onclick) {
  const button = make("button", "small", text);
  button.type = "button";
  if (label) button.setAttribute("aria-label", label);
  button.onclick = onclick;
  return button;
}

function addedRows(own) {
  const words = Object.fromEntries(own.data.sounds.map((sound) => [sound.sound, sound]));
  return Object.entries(own.edits)
    .filter(([, edit]) => edit.added)
    .map(([id, edit]) => ({
      id, sound: edit.sound, words: words[edit.sound].words, shape: words[edit.sound].shape, when: clock(edit.start_s), more: "added by you",
      start_s: edit.start_s, end_s: edit.end_s, added: true, lead: true, missing: false, flagged: false,
    }));
}

function addHere(own, at_s, length) {
  let n = 1;
  while (own.edits[`new-${n}`]) n += 1;
  const start_s = tenth(Math.min(at_s, Math.max(length - 0.1, 0)));
  own.edits[`new-${n}`] = { sound: own.data.sounds[0].sound, start_s, end_s: tenth(Math.min(start_s + 0.5, length)), present: true, added: true };
  own.open = `new-${n}`;
  own.send({ ...own.edits });
}
