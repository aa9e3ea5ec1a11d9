// Package recipes holds the recipes that come with layette.
package recipes
