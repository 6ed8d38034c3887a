// Questions to the library: JSON in, JSON out. The same text runs in the page and in the worker.
const startEngine = (module, told) => {
  const instance = new WebAssembly.Instance(module, { env: { told } });
  const { memory, question_at, ask, answer_at } = instance.exports;
  return (question) => {
    const bytes = new TextEncoder().encode(JSON.stringify(question));
    // Memory may move while a question is answered: each view is made anew.
    const at = question_at(bytes.length);
    new Uint8Array(memory.buffer, at, bytes.length).set(bytes);
    const length = ask();
    return JSON.parse(new TextDecoder().decode(new Uint8Array(memory.buffer, answer_at(), length)));
  };
};
