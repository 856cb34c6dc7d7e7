// Lint of the pages' scripts: mistakes, not taste. Run: npx eslint -c tests/script/eslint.config.mjs dashboard/assets
const browser = [
  "window", "document", "performance", "fetch", "EventSource", "CustomEvent", "MutationObserver", "IntersectionObserver", "ResizeObserver", "getComputedStyle",
  "URLSearchParams", "AbortController", "TextDecoder", "DOMParser", "CSS", "Notification", "AudioContext", "navigator", "console",
  "SpeechSynthesisUtterance", "localStorage", "FormData", "URL", "Blob", "history", "location",
];

export default [
  {
    files: ["**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "script", globals: Object.fromEntries(browser.map((name) => [name, "readonly"])) },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      "no-undef": "error", "no-unused-vars": ["error", { args: "after-used", caughtErrors: "none", argsIgnorePattern: "^_" }],
      "no-redeclare": "error", "no-shadow": "error", "eqeqeq": "error", "no-var": "error", "prefer-const": "error", "strict": ["error", "function"],
      "no-implied-eval": "error", "no-eval": "error", "no-unreachable": "error", "no-dupe-keys": "error", "no-self-compare": "error",
      "no-fallthrough": "error", "no-unsafe-finally": "error", "valid-typeof": "error", "no-constant-condition": "error", "complexity": ["error", 16],
      "max-lines": ["error", 350], "max-lines-per-function": ["error", { max: 60, IIFEs: false }], "no-restricted-properties": ["error", { property: "outerHTML" }, { property: "insertAdjacentHTML" }],
    },
  },
  { files: ["**/page/*.js"], languageOptions: { sourceType: "module" } },
];
