// Speaks with GnuSpeech: `node gnuspeech.mjs FOLDER`, FOLDER being npm's @echogarden/gnuspeech-wasm.
//
// One job a line of standard input, {"text", "out", "voice_male": {NAME: VALUE}, ...}: the three
// parts are files of the synthesiser whose values are replaced. Answers each with a line.

import { createInterface } from 'node:readline'
import { writeFileSync } from 'node:fs'
import { pathToFileURL } from 'node:url'

const { default: start } = await import(pathToFileURL(`${process.argv[2]}/wasm/gnuspeech.js`))
const synthesiser = await start()
const parts = ['voice_male', 'trm', 'trm_control_model']
const place = (part) => `/data/en/${part}.txt`
const original = Object.fromEntries(
  parts.map((part) => [part, synthesiser.FS.readFile(place(part), { encoding: 'utf8' })]))

function changed(text, values) {
  for (const [name, value] of Object.entries(values)) {
    const line = new RegExp(`^${name} = .*$`, 'm')
    if (!line.test(text)) throw new Error(`GnuSpeech knows no ${name}`)
    text = text.replace(line, `${name} = ${value}`)
  }
  return text
}

function placed(text) {
  const bytes = Buffer.from(`${text}\0`)
  const address = synthesiser._malloc(bytes.length)
  synthesiser.HEAPU8.set(bytes, address)
  return address
}

for await (const line of createInterface({ input: process.stdin })) {
  const job = JSON.parse(line)
  for (const part of parts) synthesiser.FS.writeFile(place(part), changed(original[part], job[part]))
  const addresses = [job.text, './spoken.wav', '/data/en', './parameters.txt'].map(placed)
  synthesiser._GnuSpeech_synthesizeToFile(...addresses, 0)
  addresses.forEach((address) => synthesiser._free(address))
  writeFileSync(job.out, synthesiser.FS.readFile('./spoken.wav'))
  console.log(job.out)
}
