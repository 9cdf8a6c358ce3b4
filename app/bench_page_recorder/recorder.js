// The recorder: raw samples from the microphone with the phone's own processing switched off.
// Samples are taken in a worklet, kept as 16-bit numbers, and handed over once, at the end.

const WORKLET = `
class Take extends AudioWorkletProcessor {
  // Handed over some at a time: a phone that is busy drawing then loses no block of a long recording.
  constructor() {
    super();
    this.open();
  }
  open() {
    this.out = new Int16Array(1024);
    this.n = this.peak = this.squares = 0;
  }
  process(inputs) {
    const input = inputs[0][0];
    if (input) {
      for (let i = 0; i < input.length; i++) {
        const x = Math.max(-1, Math.min(1, input[i]));
        this.out[this.n++] = Math.round(x * 32767);
        const size = Math.abs(x);
        if (size > this.peak) this.peak = size;
        this.squares += x * x;
        if (this.n === this.out.length) {
          this.port.postMessage({ samples: this.out, peak: this.peak, squares: this.squares }, [this.out.buffer]);
          this.open();
        }
      }
    }
    return true;
  }
}
registerProcessor("listen-take", Take);`;

const OFF = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
const FLAGS = ["echoCancellation", "noiseSuppression", "autoGainControl"];
const FULL = 0.985;
const clock = (s) => {
  const tenths = Math.floor(Math.max(s, 0) * 10);
  return `${Math.floor(tenths / 600)}:${String(Math.floor(tenths / 10) % 60).padStart(2, "0")}.${tenths % 10}`;
};

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".recorder");
  const find = (selector) => root.querySelector(selector);
  const own = root.bench || (root.bench = { marks: [] });
  own.data = data;
  own.trigger = setTriggerValue;
  root.classList.toggle("dark", isDark(root));
  if (!own.live) draw();
  find(".go").onclick = () => (own.live ? stop() : start());
  return () => { if (own.live) release(); };

  function draw() {
    find(".go-word").textContent = own.data.words.record;
    find(".time").textContent = own.data.seconds ? `${own.data.words.about} ${own.data.seconds} s` : "";
    if (!navigator.mediaDevices || !window.isSecureContext) trouble(own.data.words.no_microphone);
  }
  function trouble(text) {
    find(".trouble").textContent = text;
    find(".trouble").hidden = !text;
  }

  async function start() {
    trouble("");
    find(".sent").textContent = "";
    if (!navigator.mediaDevices || !window.isSecureContext) return trouble(own.data.words.no_microphone);
    find(".go").disabled = true;
    let stream, context;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: OFF });
      context = new AudioContext();
      const url = URL.createObjectURL(new Blob([WORKLET], { type: "text/javascript" }));
      await context.audioWorklet.addModule(url);
      URL.revokeObjectURL(url);
      await context.resume();
    } catch (error) {
      if (stream) stream.getTracks().forEach((track) => track.stop());
      if (context) context.close();
      find(".go").disabled = false;
      return trouble(error && error.name === "NotAllowedError" ? own.data.words.refused : own.data.words.no_microphone);
    }
    const track = stream.getAudioTracks()[0];
    own.live = { stream, context, track, settings: track.getSettings(), blocks: [], n: 0, peak: 0, squares: 0, window: 0, full: 0, shown: 0, loudUntil: 0 };
    own.marks = [];
    listMarks();
    const source = context.createMediaStreamSource(stream);
    const node = new AudioWorkletNode(context, "listen-take", { channelCount: 1, numberOfOutputs: 0 });
    node.port.onmessage = (event) => own.live && take(event.data);
    source.connect(node);
    own.live.node = node;
    track.onended = () => own.live && stop();
    keepAwake();
    root.classList.add("on");
    find(".live").hidden = false;
    find(".go-word").textContent = own.data.words.stop;
    find(".go").disabled = false;
    drawMarks();
  }

  function take(block) {
    const live = own.live;
    live.blocks.push(block.samples);
    live.n += block.samples.length;
    live.window += block.samples.length;
    live.squares += block.squares;
    live.peak = Math.max(live.peak, block.peak);
    const rate = live.context.sampleRate;
    if (block.peak >= FULL) live.full += 1;
    if (live.window >= rate / 12) show();
    if (live.n >= rate * (own.data.seconds || own.data.longest_s) || live.n >= rate * own.data.longest_s) stop();
  }
  function show() {
    const live = own.live;
    const now = live.n / live.context.sampleRate;
    const rms = 10 * Math.log10(live.squares / live.window + 1e-12);
    const peak = 20 * Math.log10(live.peak + 1e-6);
    const percent = (db) => `${Math.max(0, Math.min(100, (100 * (db + 60)) / 60))}%`;
    if (live.peak >= FULL) live.loudUntil = now + 1.5;
    const loud = now < live.loudUntil;
    find(".fill").style.width = percent(rms);
    find(".peak").style.left = percent(peak);
    find(".meter").classList.toggle("loud", loud);
    find(".meter").setAttribute("aria-valuenow", rms.toFixed(0));
    const word = loud ? own.data.words.too_loud : now > 2 && peak < -45 ? own.data.words.too_quiet : "";
    if (find(".level").textContent !== word) find(".level").textContent = word;
    find(".level").classList.toggle("loud", loud);
    find(".time").textContent = own.data.seconds ? `${clock(now)} ${own.data.words.of} ${clock(own.data.seconds)}` : clock(now);
    live.peak = live.squares = live.window = 0;
  }
  function drawMarks() {
    find(".marks-title").hidden = own.data.marks.length === 0;
    find(".marks").replaceChildren(
      ...own.data.marks.map((mark) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = mark.words;
        button.onclick = () => {
          if (!own.live) return;
          own.marks.push({ ...mark, at_s: Math.round((10 * own.live.n) / own.live.context.sampleRate) / 10 });
          listMarks();
        };
        return button;
      })
    );
  }
  function listMarks() {
    find(".marked").replaceChildren(
      ...own.marks.map((mark, place) => {
        const item = document.createElement("li");
        const text = document.createElement("span");
        text.textContent = `${clock(mark.at_s)} ${mark.words}`;
        const remove = document.createElement("button");
        remove.type = "button";
        remove.textContent = "×";
        remove.setAttribute("aria-label", `${own.data.words.remove} ${clock(mark.at_s)} ${mark.words}`);
        remove.onclick = () => { own.marks.splice(place, 1); listMarks(); };
        item.append(text, remove);
        return item;
      })
    );
  }
  async function keepAwake() {
    try {
      if (navigator.wakeLock) own.live.awake = await navigator.wakeLock.request("screen");
    } catch { /* a screen that sleeps ends no recording on most phones */ }
  }
  function release() {
    const live = own.live;
    own.live = null;
    live.track.onended = null;
    live.stream.getTracks().forEach((track) => track.stop());
    live.context.close();
    if (live.awake) live.awake.release();
    root.classList.remove("on");
    find(".live").hidden = true;
    return live;
  }
  function stop() {
    const live = release();
    const rate = live.context.sampleRate;
    draw();
    if (live.n < rate / 2) return trouble(own.data.words.too_short);
    find(".go").disabled = true;
    find(".sent").textContent = own.data.words.sending;
    const reader = new FileReader();
    reader.onload = () => {
      const text = reader.result;
      find(".sent").textContent = "";
      find(".go").disabled = false;
      own.trigger("take", {
        n: live.n, rate_hz: rate, full_blocks: live.full, marks: own.marks.map(({ at_s, word }) => ({ at_s, word })),
        settings: Object.fromEntries([...FLAGS, "sampleRate", "channelCount", "latency"].filter((key) => live.settings[key] !== undefined).map((key) => [key, live.settings[key]])),
        pcm: text.slice(text.indexOf(",") + 1),
      });
    };
    reader.readAsDataURL(new Blob(live.blocks, { type: "application/octet-stream" }));
  }
}

function isDark(root) {
  const parts = getComputedStyle(root).color.match(/[\d.]+/g);
  return Boolean(parts) && 0.3 * parts[0] + 0.59 * parts[1] + 0.11 * parts[2] > 140;
}
