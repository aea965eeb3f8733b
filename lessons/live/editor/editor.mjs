// The lesson's text in the page: an editor for YAML with faults underlined and completion from the lesson files' schema.

import {
  acceptCompletion, autocompletion, closeBrackets, closeBracketsKeymap, closeCompletion, completionKeymap, completionStatus,
  selectedCompletion, selectedCompletionIndex, setSelectedCompletion,
} from "@codemirror/autocomplete";
import { defaultKeymap, history, historyKeymap, indentWithTab } from "@codemirror/commands";
import { yaml } from "@codemirror/lang-yaml";
import { HighlightStyle, bracketMatching, indentUnit, syntaxHighlighting } from "@codemirror/language";
import { lintGutter, setDiagnostics } from "@codemirror/lint";
import { Annotation, EditorState, Prec } from "@codemirror/state";
import { EditorView, drawSelection, highlightActiveLine, keymap, lineNumbers } from "@codemirror/view";
import { tags } from "@lezer/highlight";

const told = Annotation.define();

const colours = HighlightStyle.define([
  { tag: [tags.propertyName, tags.definition(tags.propertyName)], color: "var(--main)" },
  { tag: tags.comment, color: "var(--faint)", fontStyle: "italic" },
  { tag: [tags.string, tags.special(tags.string)], color: "var(--text)" },
  { tag: [tags.labelName, tags.keyword, tags.typeName], color: "var(--warm)" },
]);

const theme = EditorView.theme({
  "&": { color: "var(--text)", backgroundColor: "var(--panel)", height: "100%" },
  ".cm-scroller": { fontFamily: "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace", lineHeight: "1.55" },
  ".cm-gutters": { backgroundColor: "var(--panel)", color: "var(--faint)", border: "0" },
  ".cm-activeLine, .cm-activeLineGutter": { backgroundColor: "var(--picked)" },
  "&.cm-focused": { outline: "3px solid var(--focus)", outlineOffset: "-3px" },
  ".cm-cursor": { borderLeftColor: "var(--text)", borderLeftWidth: "2px" },
  "&.cm-focused > .cm-scroller > .cm-selectionLayer .cm-selectionBackground, .cm-selectionBackground": { backgroundColor: "var(--held)" },
  ".cm-tooltip": { backgroundColor: "var(--panel)", color: "var(--text)", border: "1px solid var(--hair)" },
  ".cm-tooltip-autocomplete ul li[aria-selected]": { backgroundColor: "var(--main)", color: "var(--on-main)" },
  ".cm-diagnostic-error": { borderLeftColor: "var(--warm)" },
  // without the pictures by which these are drawn else: the page loads none
  ".cm-lintRange-error": { backgroundImage: "none", textDecoration: "underline wavy var(--warm)", textUnderlineOffset: "3px" },
  ".cm-lint-marker-error": { content: "normal", color: "var(--warm)" },
  ".cm-lint-marker-error::before": { content: "'●'" },
});

// ------------------------------------------------------------------ completion

const WORD = /[\w/-]*$/;
const KEY = /^(\s*)((?:- +)*)([A-Za-z_][\w-]*):(?:\s|$)/;

// Where a line stands: the keys above it by indentation, "[]" for an entry of a list; and the kind that its entry names.
function pathAt(doc, number, column) {
  const path = [];
  let indent = column;
  for (let n = number - 1; n >= 1 && indent > 0; n -= 1) {
    const text = doc.line(n).text, found = KEY.exec(text);
    if (!found) {
      const dash = /^(\s*)- /.exec(text);
      if (dash && dash[1].length < indent) {
        path.unshift("[]");
        indent = dash[1].length;
      }
      continue;
    }
    const [, space, dashes, key] = found, at = space.length + dashes.length;
    if (at >= indent) {
      if (at === indent && dashes) {
        path.unshift("[]");
        indent = space.length;
      }
      continue;
    }
    path.unshift(key);
    indent = at;
    if (dashes) {
      path.unshift("[]");
      indent = space.length;
    }
  }
  return path;
}

function kindAt(doc, number) {
  // the lines of the entry: from the outermost dash above to the next one like it
  const dash = (n) => /^(\s*)- /.exec(doc.line(n).text)?.[1].length ?? Infinity;
  let first = number, outermost = Infinity;
  for (let n = number; n >= 1 && !/^[A-Za-z]/.test(doc.line(n).text); n -= 1) {
    if (dash(n) < outermost) [first, outermost] = [n, dash(n)];
  }
  for (let n = first; n <= doc.lines && (n === first || dash(n) > outermost); n += 1) {
    const text = doc.line(n).text, found = /^\s*(?:- +)?kind:\s*([\w-]+)/.exec(text);
    if (found) return found[1];
    if (n > first && /^[A-Za-z]/.test(text)) break;
  }
  return null;
}

function flattened(schema, root, kind) {
  if (!schema) return [];
  if (schema.$ref) return flattened(schema.$ref.split("/").slice(1).reduce((node, part) => node?.[part], root), root, kind);
  const both = [...(schema.anyOf ?? []), ...(schema.oneOf ?? [])];
  if (!both.length) return [schema];
  const all = both.flatMap((one) => flattened(one, root, kind));
  const fits = kind ? all.filter((one) => one.properties?.kind?.const === kind) : [];
  return fits.length ? fits : all;
}

function within(schemas, part, root, kind) {
  return schemas.flatMap((schema) => {
    const next = part === "[]" ? schema.items : schema.properties?.[part]
      ?? (typeof schema.additionalProperties === "object" ? schema.additionalProperties : Object.values(schema.patternProperties ?? {})[0]);
    return flattened(next, root, kind);
  });
}

function choices(schemas) {
  return [...new Set(schemas.flatMap((schema) => [
    ...(schema.enum ?? []), ...(schema.const !== undefined ? [schema.const] : []), ...(schema.type === "boolean" ? ["true", "false"] : []),
    ...(schema.items?.enum ?? []),
  ]))].map(String);
}

function completes(options) {
  return (context) => {
    const root = options.schema();
    if (!root) return null;
    const { state, pos } = context, doc = state.doc, line = doc.lineAt(pos);
    const before = line.text.slice(0, pos - line.from);
    if (/(^|\s)#/.test(before)) return null;
    const kind = kindAt(doc, line.number);
    const word = WORD.exec(before)[0];
    const from = pos - word.length;
    // a number is its author's, whatever longer one begins like it
    if (/^\d/.test(word) && !context.explicit) return null;
    if (!word && !context.explicit && !/[:,[{-] $/.test(before)) return null;
    const key = KEY.exec(before);
    const column = /^\s*(?:- +)*/.exec(before)[0].length;
    let path = pathAt(doc, line.number, column);
    if (/^\s*- /.test(before)) path = [...pathAt(doc, line.number, /^\s*/.exec(before)[0].length), "[]"];
    let schemas = path.reduce((found, part) => within(found, part, root, kind), flattened(root, root, kind));
    if (key) {
      // behind a key: the values that it may have, or, in braces, the keys within
      const inner = before.slice(key[0].length - 1);
      const flow = /\{[^}]*$/.exec(inner);
      schemas = within(schemas, key[3], root, kind);
      if (/^\s*\[/.test(inner)) schemas = [...schemas, ...within(schemas, "[]", root, kind)];
      const named = options.names()[key[3]] ?? options.names()[`${key[3]}s`];
      const isInGroup = path.includes("clips");
      if (flow) {
        const last = /([\w-]+):\s*[\w/-]*$/.exec(flow[0]);
        if (!last) return keys(schemas, from, flow[0]);
        schemas = within(schemas, last[1], root, kind);
      }
      return values([...choices(schemas), ...(named && isInGroup ? named : [])], from, word, context);
    }
    return keys(schemas, from, "") ?? values(choices(schemas), from, word, context);
  };
}

// What is typed whole is offered no more, until it is typed on.
function values(labels, from, word, { explicit }) {
  if (!labels.length || (labels.includes(word) && !explicit)) return null;
  const validFor = (text) => /^[A-Za-z_-][\w/-]*$/.test(text) && !labels.includes(text);
  return { from, options: labels.map((label) => ({ label, type: "constant" })), validFor };
}

function keys(schemas, from, already) {
  const found = new Map();
  for (const schema of schemas) {
    for (const [label, { description }] of Object.entries(schema.properties ?? {})) {
      if (!new RegExp(`\\b${label}:`).test(already)) found.set(label, description ?? "");
    }
  }
  if (!found.size) return null;
  return {
    from,
    options: [...found].map(([label, info]) => ({ label, apply: `${label}: `, info: info || undefined, type: "property" })),
    validFor: /^[\w-]*$/,
  };
}

function typedWord({ doc, selection: { main } }) {
  const line = doc.lineAt(main.head);
  return WORD.exec(line.text.slice(0, main.head - line.from))[0];
}

// Enter and Tab take what is marked, when something is to be gained by it; else the offer goes and they do what they always do.
function takes(view) {
  if (completionStatus(view.state) !== "active") return false;
  const { label, apply } = selectedCompletion(view.state) ?? {};
  if (label !== undefined && (apply ?? label) !== typedWord(view.state)) return acceptCompletion(view);
  closeCompletion(view);
  return false;
}

// The first offer is marked at each letter that is typed: before the first one Enter ends the line.
function marksFirst() {
  let marked = "";
  return EditorView.updateListener.of(({ view }) => {
    const status = completionStatus(view.state), word = status ? typedWord(view.state) : "";
    if (status === "pending" || word === marked) return;
    marked = word;
    if (word && selectedCompletionIndex(view.state) !== 0) view.dispatch({ effects: setSelectedCompletion(0) });
  });
}

const offerKeys = [{ key: "Enter", run: takes }, { key: "Tab", run: takes }, ...completionKeymap.filter(({ key }) => key !== "Enter")];

// ------------------------------------------------------------------ the editor

// options: nonce, label, changed(), schema(), names()
export function makeEditor(parent, options) {
  const view = new EditorView({
    parent,
    state: EditorState.create({
      doc: "",
      extensions: [
        EditorView.cspNonce.of(options.nonce),
        lineNumbers(), history(), drawSelection(), bracketMatching(), closeBrackets(), highlightActiveLine(), lintGutter(),
        indentUnit.of("  "), EditorState.tabSize.of(2), EditorView.lineWrapping,
        yaml(), syntaxHighlighting(colours), theme,
        autocompletion({ override: [completes(options)], icons: false, selectOnOpen: false, defaultKeymap: false }),
        Prec.highest(keymap.of(offerKeys)), marksFirst(),
        EditorView.contentAttributes.of({ "aria-label": options.label, tabindex: "0" }),
        // Tab goes on to what comes next, as everywhere on the page, but where it takes an offer
        keymap.of([...closeBracketsKeymap, ...defaultKeymap, ...historyKeymap,
          { key: "Ctrl-]", run: indentWithTab.run }, { key: "Ctrl-[", run: indentWithTab.shift }]),
        EditorView.updateListener.of((update) => {
          if (update.docChanged && !update.transactions.some((one) => one.annotation(told))) options.changed();
        }),
      ],
    }),
  });

  const place = (line, column) => {
    const at = view.state.doc.line(Math.max(1, Math.min(line, view.state.doc.lines)));
    return Math.min(at.from + Math.max(column - 1, 0), at.to);
  };

  return {
    text: () => view.state.doc.toString(),
    // another text: only what differs is replaced, so that cursor, selection and scrolling stay
    take(text) {
      const old = view.state.doc.toString();
      if (old === text) return;
      let start = 0;
      while (start < old.length && start < text.length && old[start] === text[start]) start += 1;
      let end = 0;
      while (end < old.length - start && end < text.length - start && old[old.length - 1 - end] === text[text.length - 1 - end]) end += 1;
      view.dispatch({ changes: { from: start, to: old.length - end, insert: text.slice(start, text.length - end) }, annotations: told.of(true) });
    },
    faults(list) {
      view.dispatch(setDiagnostics(view.state, list.map(({ line, column, sentence }) => {
        const from = place(line, column), rest = view.state.doc.lineAt(from);
        const word = /^[^\s,\]}#:]+/.exec(rest.text.slice(from - rest.from));
        return { from, to: Math.max(from + (word ? word[0].length : 1), from), severity: "error", message: sentence };
      }).map((one) => ({ ...one, to: Math.min(one.to, view.state.doc.length) }))));
    },
    to(line, column = 1) {
      const at = place(line, column);
      view.dispatch({ selection: { anchor: at }, effects: EditorView.scrollIntoView(at, { y: "center" }) });
      view.focus();
    },
    focus: () => view.focus(),
  };
}
