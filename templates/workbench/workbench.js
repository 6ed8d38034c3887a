// The workbench: fields on the one side, what follows from them on the other.
(async () => {
  "use strict";
  const WEEK_DAYS = 7;
  // A week is simulated when nothing was changed for so long (ms).
  const REST_MS = 120;
  const UNDO_STEPS = 200;
  // A slider goes from a tenth to ten times the value that it found, in so many steps to each side.
  const SLIDER_STEPS = 200;

  const find = (id) => document.getElementById(id);
  const given = JSON.parse(find("node").textContent);
  const bytes = Uint8Array.from(atob(find("wasm").textContent.trim()), (letter) => letter.charCodeAt(0));
  const module = await WebAssembly.compile(bytes);
  const ask = startEngine(module, () => {});

  const state = { text: "", profiles: given.profiles, undo: [], redo: [], fields: [], name: "node", file: given.file, rest: 0 };
  // The node file as it stands, with the measured profiles beside it.
  const files = () => ({ text: state.text, profiles: state.profiles });
  const say = (text) => { find("status").textContent = text; };

  // ---- results

  const show = (sections) => {
    for (const [name, html] of Object.entries(sections)) {
      const place = find(`${name}-place`) ?? find(name);
      place.innerHTML = html;
    }
  };
  // Charts that an answer does not have stay as they are.
  const draw = (text) => drawCharts(JSON.parse(text));

  // ---- fields

  const number = (value) => {
    const parts = /^\s*([-+]?[0-9.]+(?:e[-+]?[0-9]+)?)(.*)$/i.exec(value);
    return parts ? { number: Number(parts[1]), unit: parts[2] } : null;
  };
  const id = (key) => `field-${key.replace(/[^a-z0-9]+/gi, "-")}`;
  const group = (key) => key.split(/[.[]/)[0];

  // One input with its label, its slider and the place of its fault.
  const fieldRow = (field) => {
    const row = document.createElement("div");
    row.className = "field";
    row.dataset.key = field.key;
    const label = document.createElement("label");
    label.htmlFor = id(field.key);
    label.textContent = field.key.slice(group(field.key).length).replace(/^\./, "") || field.key;
    const input = document.createElement("input");
    input.id = id(field.key);
    input.type = field.kind === "switch" ? "checkbox" : "text";
    input.setAttribute("aria-describedby", `${input.id}-fault`);
    input.addEventListener("change", () => edit(field.key, field.kind === "switch" ? String(input.checked) : input.value));
    row.append(label, input);
    const start = field.kind === "quantity" ? number(field.value) : null;
    if (start && start.number > 0 && !/^\s*deg/.test(start.unit)) {
      const slider = document.createElement("input");
      slider.type = "range";
      slider.min = -SLIDER_STEPS;
      slider.max = SLIDER_STEPS;
      slider.value = 0;
      slider.setAttribute("aria-label", `${field.key}, a tenth to ten times`);
      let middle = null;
      slider.addEventListener("input", () => {
        middle ??= number(input.value) ?? start;
        const moved = Number((middle.number * 10 ** (slider.value / SLIDER_STEPS)).toPrecision(3));
        slider.setAttribute("aria-valuetext", `${moved}${middle.unit}`);
        edit(field.key, `${moved}${middle.unit}`, slider);
      });
      // The next pull starts from where this one ended, the thumb in the middle again.
      slider.addEventListener("change", () => {
        middle = null;
        slider.value = 0;
      });
      row.append(slider);
    }
    const fault = document.createElement("p");
    fault.id = `${input.id}-fault`;
    fault.className = "fault";
    row.append(fault);
    return row;
  };

  const fillForm = () => {
    const place = find("fields");
    const shown = [...place.querySelectorAll(".field")].map((row) => row.dataset.key).join();
    if (shown !== state.fields.map((field) => field.key).join()) {
      place.replaceChildren();
      let box = null;
      for (const field of state.fields) {
        if (box?.dataset.group !== group(field.key)) {
          box = document.createElement("fieldset");
          box.dataset.group = group(field.key);
          const legend = document.createElement("legend");
          legend.textContent = group(field.key);
          box.append(legend);
          place.append(box);
        }
        box.append(fieldRow(field));
      }
      filter();
    }
    for (const field of state.fields) {
      const input = find(id(field.key));
      if (field.kind === "switch") input.checked = field.value === "true";
      else if (input.value !== field.value) input.value = field.value;
    }
    if (document.activeElement !== find("text")) find("text").value = state.text;
  };

  // Faults stand at their fields; those that belong to none stand above all.
  const showFaults = (faults) => {
    document.querySelectorAll(".fault").forEach((place) => { place.textContent = ""; });
    document.querySelectorAll(".field [aria-invalid]").forEach((input) => input.removeAttribute("aria-invalid"));
    const homeless = [];
    for (const fault of faults) {
      const text = `${fault.title}: expected ${fault.expected}; ${fault.cure}`;
      const input = fault.key ? find(id(fault.key)) : null;
      if (input) {
        input.setAttribute("aria-invalid", "true");
        const place = find(`${input.id}-fault`);
        place.textContent = [place.textContent, text].filter(Boolean).join(" ");
      } else {
        homeless.push(`${fault.file ? `${fault.file}, ` : ""}line ${fault.line}, column ${fault.column}: ${text}`);
      }
    }
    find("faults").replaceChildren(...homeless.map((text) => {
      const line = document.createElement("p");
      line.className = "fault";
      line.textContent = text;
      return line;
    }));
  };

  const filter = () => {
    const wanted = find("filter").value.toLowerCase().split(/[\s,]+/).filter(Boolean);
    document.querySelectorAll("#fields .field").forEach((row) => {
      row.hidden = wanted.length > 0 && !wanted.some((word) => row.dataset.key.includes(word));
    });
    document.querySelectorAll("#fields fieldset").forEach((box) => {
      box.hidden = [...box.querySelectorAll(".field")].every((row) => row.hidden);
    });
  };

  // ---- a change of the node

  const set = (text) => {
    state.text = text;
    const answer = ask({ ask: "size", ...files() });
    state.fields = answer.fields;
    fillForm();
    showFaults(answer.faults);
    const stands = Boolean(answer.sections);
    find("stale").hidden = stands;
    find("results").classList.toggle("stale", !stands);
    for (const name of ["header", "module", "simulate"]) find(name).disabled = !stands || !answer.works;
    clearTimeout(state.rest);
    if (!stands) return;
    state.name = answer.name;
    document.title = `${answer.name}: workbench`;
    show(answer.sections);
    draw(answer.charts);
    state.rest = setTimeout(() => simulateWeek(), REST_MS);
  };

  const simulateWeek = () => {
    const answer = ask({ ask: "simulate", ...files(), days: WEEK_DAYS, tuned: false });
    if (answer.sections) {
      show(answer.sections);
      draw(answer.charts);
    } else {
      find("course-place").replaceChildren();
      find("dark-place").replaceChildren();
    }
  };

  // A pull at one slider is one step back.
  let pulled = null;
  const change = (text, by = null) => {
    if (text === state.text) return;
    if (by === null || pulled !== by) {
      state.undo.push(state.text);
      if (state.undo.length > UNDO_STEPS) state.undo.shift();
    }
    pulled = by;
    state.redo = [];
    set(text);
    history();
  };
  const edit = (key, value, by = null) => {
    const answer = ask({ ask: "edit", text: state.text, key, value });
    if (answer.text !== undefined) change(answer.text, by);
  };
  const history = () => {
    find("undo").disabled = state.undo.length === 0;
    find("redo").disabled = state.redo.length === 0;
  };
  const step = (from, to) => {
    if (from.length === 0) return;
    to.push(state.text);
    pulled = null;
    set(from.pop());
    history();
  };
  const undo = () => step(state.undo, state.redo);
  const redo = () => step(state.redo, state.undo);
  for (const end of ["pointerdown", "focusout"]) {
    document.addEventListener(end, (event) => {
      if (event.target.type === "range") pulled = null;
    });
  }

  // ---- the long run, in a worker that can be stopped

  let worker = null;
  const stop = (text) => {
    worker?.terminate();
    worker = null;
    find("cancel").disabled = true;
    find("progress").value = 0;
    say(text);
  };
  const WORKER = `${find("engine").textContent}
    onmessage = ({ data }) => {
      const ask = startEngine(data.module, (done) => postMessage({ done }));
      postMessage({ answer: ask(data.question) });
    };`;
  const inBackground = (question, finished) => {
    stop("");
    const address = URL.createObjectURL(new Blob([WORKER], { type: "text/javascript" }));
    worker = new Worker(address);
    URL.revokeObjectURL(address);
    find("cancel").disabled = false;
    worker.onmessage = ({ data }) => {
      if (data.done !== undefined) find("progress").value = data.done;
      if (data.answer === undefined) return;
      stop("");
      if (data.answer.error) say(data.answer.error);
      else finished(data.answer);
    };
    worker.onerror = () => stop("the run failed");
    worker.postMessage({ module, question });
  };
  const simulate = () => {
    const days = Number(find("days").value);
    const asked = files();
    say(`simulating ${days} days`);
    inBackground({ ask: "simulate", ...asked, days, tuned: true }, (answer) => {
      if (asked.text !== state.text || asked.profiles !== state.profiles) return say("the node was changed meanwhile: simulate again");
      show(answer.sections);
      draw(answer.charts);
      say(`${days} days simulated`);
    });
  };

  // ---- files and links

  const save = (name, text) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
    link.download = name;
    link.click();
    URL.revokeObjectURL(link.href);
    say(`saved ${name}`);
  };
  const saveConstants = (language, name) => {
    say("working out the constants");
    inBackground({ ask: "constants", ...files() }, (answer) => save(name, answer[language]));
  };
  const through = async (bytes, stream) => new Uint8Array(await new Response(new Blob([bytes]).stream().pipeThrough(stream)).arrayBuffer());
  const packed = async (text) => {
    const bytes = await through(new TextEncoder().encode(text), new CompressionStream("deflate-raw"));
    return btoa(String.fromCharCode(...bytes)).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  };
  const unpacked = async (packed) => {
    const letters = atob(packed.replace(/-/g, "+").replace(/_/g, "/"));
    return new TextDecoder().decode(await through(Uint8Array.from(letters, (letter) => letter.charCodeAt(0)), new DecompressionStream("deflate-raw")));
  };
  const makeLink = async () => {
    const address = new URL(location.href);
    address.hash = `node=${await packed(state.text)}`;
    find("linked").hidden = false;
    find("address").value = address.href;
    find("address").select();
    const left = Object.keys(state.profiles).length > 0 ? "; it does not carry the measured profiles" : "";
    say(`the link stands selected${left}`);
  };
  const linked = async () => {
    const packed = /^#node=([A-Za-z0-9_-]+)$/.exec(location.hash);
    if (!packed) return null;
    try {
      return await unpacked(packed[1]);
    } catch {
      say("the link's node cannot be read");
      return null;
    }
  };

  const isNodeFile = (file) => file.name.endsWith(".toml");
  // A profile of the same name gives way: the node file finds it by the end of its path.
  const takeProfile = async (file) => {
    const others = Object.entries(state.profiles).filter(([path]) => path.split("/").pop() !== file.name);
    state.profiles = { ...Object.fromEntries(others), [file.name]: await file.text() };
  };

  find("undo").addEventListener("click", undo);
  find("redo").addEventListener("click", redo);
  find("load").addEventListener("click", () => find("file").click());
  find("file").addEventListener("change", async () => {
    const opened = [...find("file").files];
    if (opened.length === 0) return;
    for (const profile of opened.filter((file) => !isNodeFile(file))) await takeProfile(profile);
    const file = opened.find(isNodeFile);
    if (file) state.file = file.name;
    const text = file ? await file.text() : state.text;
    // The text may be the same and its profiles new.
    if (text === state.text) set(text);
    else change(text);
    find("file").value = "";
    say(`opened ${opened.map((one) => one.name).join(", ")}`);
  });
  find("save").addEventListener("click", () => save(state.file, state.text));
  find("header").addEventListener("click", () => saveConstants("c", `${state.name}.h`));
  find("module").addEventListener("click", () => saveConstants("rust", `${state.name.replace(/-/g, "_")}.rs`));
  find("link").addEventListener("click", makeLink);
  find("simulate").addEventListener("click", simulate);
  find("cancel").addEventListener("click", () => stop("cancelled"));
  find("filter").addEventListener("input", filter);
  find("text").addEventListener("input", () => change(find("text").value, find("text")));
  find("form").addEventListener("submit", (event) => event.preventDefault());
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    const writes = event.target === find("text");
    if (key === "s") save(state.file, state.text);
    else if (key === "z" && !writes) (event.shiftKey ? redo : undo)();
    else if (key === "y" && !writes) redo();
    else return;
    event.preventDefault();
  });

  set((await linked()) ?? given.text);
  history();
  addEventListener("hashchange", async () => {
    const text = await linked();
    if (text !== null) change(text);
  });
})();
