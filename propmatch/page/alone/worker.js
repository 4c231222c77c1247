// The engine at work, in a worker of the page: a desk in Python, and nothing that comes from anywhere else.
const inflated = (bytes) => new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
const ROOT = "engine:/", LIBRARY = "python_stdlib.zip";
let python = null, seat = null, desk = null;

// Files follow an index of their names and sizes.
function unpack(cargo) {
  const length = new DataView(cargo.buffer).getUint32(0, true), files = new Map();
  let at = 4 + length;
  for (const [name, size] of JSON.parse(new TextDecoder().decode(cargo.subarray(4, at)))) files.set(name, cargo.subarray(at, at += size));
  return files;
}

function lay(files, FS) {
  for (const [name, bytes] of files) {
    if (name === LIBRARY) continue;
    FS.mkdirTree(name.slice(0, name.lastIndexOf("/")));
    FS.writeFile(name, bytes, { canOwn: true });
  }
}

async function begin({ wasm, cargo, lock, env, parts }) {
  const say = (doing, share) => postMessage({ starting: doing, share });
  say("Unpacking the engine", 0.1);
  const files = unpack(new Uint8Array(await new Response(inflated(cargo)).arrayBuffer()));
  // What the runtime asks for by address is here already; there is nothing else to be had.
  self.fetch = async (address) => {
    const name = String(address).slice(ROOT.length);
    if (name.endsWith(".wasm")) return new Response(inflated(wasm), { headers: { "content-type": "application/wasm" } });
    return name === LIBRARY ? new Response(files.get(LIBRARY)) : new Response(null, { status: 404 });
  };
  say("Starting Python", 0.2);
  python = await loadPyodide({ indexURL: ROOT, lockFileContents: lock, packageBaseUrl: ROOT, env, fsInit: async (FS) => lay(files, FS) });
  say("Loading the numerics", 0.5);
  python.pyimport("numpy").destroy();
  say("Loading the engine", 0.7);
  seat = python.pyimport("propmatch.page.inbrowser");
  say("Reading the parts", 0.9);
  desk = seat.opened(parts);
  postMessage({ ready: JSON.parse(seat.places()) });
}

addEventListener("message", async ({ data }) => {
  if (data.begin) {
    try { await begin(data.begin); } catch (error) { postMessage({ broken: String(error?.message ?? error) }); }
    return;
  }
  const { id, what, sent } = data;
  try {
    postMessage({ id, answer: seat.answered(desk, what, sent, (doing, share) => postMessage({ id, doing, share: share ?? null })) });
  } catch (error) { postMessage({ id, failed: String(error?.message ?? error).trim().split("\n").at(-1), fatal: error?.name !== "PythonError" }); }
});
