in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;
void main() {
    colour = vec4(0.008, 0.016, 0.018, 1.0);
    gl_FragDepth = 1.0;  // opens the bed: what lies below is painted afterwards
}
